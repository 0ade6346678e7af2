"""What slow clients cost the real server in memory, and for how long they keep a probe and another client waiting.

    cd tests && ../.venv/bin/python -m load.attacks.slow

Six kinds, 16 and 500 of each. Ends with status 1 if a worker takes more than 400 MB, or a probe waits for more than
a second.
"""

import json
import socket
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from time import perf_counter

from load.attacks.costs import forget_peak, memory
from load.server import Server, get, served
from support import week

SIZE, PIECE, SECONDS = 8 * 1024 * 1024 - 1, 128 * 1024, 10
HEAD = b"POST /v1/assessments HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n" % SIZE
ASK = b"GET /v1/rules HTTP/1.1\r\nHost: x\r\n\r\n" * 8
ORDINARY = json.dumps(week())
SMALL = HEAD.replace(b"%d" % SIZE, b"%d" % len(ORDINARY))
STREAM = HEAD.replace(b"Content-Length: %d" % SIZE, b"Transfer-Encoding: chunked").replace(b"/json", b"/x-ndjson")
MANY = (16, 500)


def send_slowly(client: socket.socket) -> None:
    client.sendall(b" " * PIECE)


def read_nothing(_: socket.socket) -> None:
    """Leave what is answered where it is."""


def drip(client: socket.socket) -> None:
    client.sendall(b"1\r\n \r\n")


# What each sends at first, and then again and again.
KINDS: dict[str, tuple[bytes, Callable[[socket.socket], None]]] = {
    "idle": (b"", read_nothing),
    "stalled head": (SMALL[:40], read_nothing),
    "stalled body": (SMALL + ORDINARY[:100].encode(), read_nothing),
    "dripping stream": (STREAM, drip),
    "reads nothing of 8 large answers": (ASK, read_nothing),
    "sends 8 MiB slowly": (HEAD, send_slowly),
}


def connected(server: Server) -> socket.socket:
    """Return a connection that holds little of what is not read."""
    client = socket.socket()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    client.connect(("127.0.0.1", server.port))
    client.settimeout(0.01)
    return client


def waited(server: Server) -> tuple[float, float]:
    """Return how long a probe waited, and an ordinary request."""
    began = perf_counter()
    assert get(server.probes_port, "/ready")[0] == 200
    probed = perf_counter() - began
    connection = server.connection()
    connection.request("POST", "/v1/assessments", ORDINARY, {"Content-Type": "application/json"})
    assert connection.getresponse().status == 200
    connection.close()
    return probed, perf_counter() - began - probed


def attacked(server: Server, clients: int, first: bytes, then: Callable[[socket.socket], None]) -> tuple[int, float, float]:
    """Have slow clients go on; return the most memory of a worker above before, and the longest waits as in `waited`."""
    workers = server.workers()
    before = {worker: memory(worker, "VmRSS") for worker in workers}
    for worker in workers:
        forget_peak(worker)
    slow = [connected(server) for _ in range(clients)]
    longest, end = (0.0, 0.0), perf_counter() + SECONDS
    for client in slow:
        client.sendall(first)
    while perf_counter() < end:
        for client in slow:
            with suppress(OSError):  # refused by now, or no more is taken
                then(client)
        probe, other = waited(server)
        longest = max(longest[0], probe), max(longest[1], other)
    most = max(memory(worker, "VmHWM") - before[worker] for worker in workers)
    for client in slow:
        client.close()
    assert server.workers() == workers
    return most, *longest


def main() -> int:
    """Print a line a kind of client, and say whether all is within the limits."""
    status = 0
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), workers=2, probes=True) as server:
        waited(server)
        for name, (first, then) in KINDS.items():
            for clients in MANY:
                most, probe, other = attacked(server, clients, first, then)
                status |= most > 400e6 or probe > 1
                print(f"{clients} clients, {name}: {most / 1e6:.0f} MB more in a worker; {probe:.2f} s for a probe,",
                      f"{other:.2f} s for an ordinary request, at most", flush=True)  # fmt: skip
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
