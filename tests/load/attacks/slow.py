"""What slow clients cost the real server in memory, and for how long they keep a probe and another client waiting.

    cd tests && ../.venv/bin/python -m load.attacks.slow

Six kinds, 16 and 500 of each. Ends with status 1 if a worker takes more than 400 MB, a probe waits for more than a second,
or another client for more than twice as long as beside as many ordinary clients in the place of the slow ones, each of
whom asks for the same or, where the slow ones never ask whole, sends an ordinary request, and reads what is answered.
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


def read_all(client: socket.socket) -> None:
    client.setblocking(False)
    while client.recv(1 << 20):
        pass


def send_whole(client: socket.socket) -> None:
    """Send an ordinary request, and read what there is of the answers to those before."""
    client.sendall(SMALL + ORDINARY.encode())
    read_all(client)


def drip(client: socket.socket) -> None:
    client.sendall(b"1\r\n \r\n")


Step = Callable[[socket.socket], None]
NEVER_WHOLE, ASKED = (
    (b"", send_whole),
    (ASK, read_all),
)  # ordinary clients: what each sends at first, and does again and again
# The same of slow clients, with the ordinary ones they are held against.
KINDS: dict[str, tuple[tuple[bytes, Step], tuple[bytes, Step]]] = {
    "idle": ((b"", read_nothing), NEVER_WHOLE),
    "stalled head": ((SMALL[:40], read_nothing), NEVER_WHOLE),
    "stalled body": ((SMALL + ORDINARY[:100].encode(), read_nothing), NEVER_WHOLE),
    "dripping stream": ((STREAM, drip), NEVER_WHOLE),
    "reads nothing of 8 large answers": ((ASK, read_nothing), ASKED),
    "sends 8 MiB slowly": ((HEAD, send_slowly), NEVER_WHOLE),
}
MOST_BYTES, MOST_OF_PROBE, MOST_TIMES = 400e6, 1.0, 2.0
LEAST_JUDGED = 0.1  # seconds: what is shorter is not told from a machine that does something else for a moment


def connected(server: Server, is_slow: bool) -> socket.socket:
    """Return a connection; one of a slow client holds little of what is not read."""
    client = socket.socket()
    if is_slow:
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


def beside(server: Server, clients: int, first: bytes, then: Step, is_slow: bool) -> tuple[int, float, float]:
    """Have clients go on; return the most memory of a worker above before, and the longest waits as in `waited`."""
    workers = server.workers()
    before = {worker: memory(worker, "VmRSS") for worker in workers}
    for worker in workers:
        forget_peak(worker)
    others = [connected(server, is_slow) for _ in range(clients)]
    longest, end = (0.0, 0.0), perf_counter() + SECONDS
    for client in others:
        client.sendall(first)
    while perf_counter() < end:
        for client in others:
            with suppress(OSError):  # refused by now, or no more is taken
                then(client)
        probe, other = waited(server)
        longest = max(longest[0], probe), max(longest[1], other)
    most = max(memory(worker, "VmHWM") - before[worker] for worker in workers)
    for client in others:
        client.close()
    assert server.workers() == workers
    return most, *longest


def main() -> int:
    """Print a line a kind of client, and say whether all is within the limits."""
    status = 0
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), workers=2, probes=True) as server:
        waited(server)
        references = {(clients, kind): beside(server, clients, *kind, is_slow=False)[2]
                      for clients in MANY for kind in (NEVER_WHOLE, ASKED)}  # fmt: skip
        for name, (slow, ordinary) in KINDS.items():
            for clients in MANY:
                most, probe, other = beside(server, clients, *slow, is_slow=True)
                share = max(references[clients, ordinary], LEAST_JUDGED)
                is_over = most > MOST_BYTES or probe > MOST_OF_PROBE or other > MOST_TIMES * share
                status |= is_over
                print("OVER" if is_over else "    ", f"{clients} clients, {name}: {most / 1e6:.0f} MB more in a worker;",
                      f"{probe:.2f} s for a probe, {other:.2f} s for an ordinary request, at most;",
                      f"{references[clients, ordinary]:.2f} s beside ordinary clients", flush=True)  # fmt: skip
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
