"""What hostile bodies cost a worker of the real server, plain and compressed: seconds of processor time and memory.

    cd tests && ../.venv/bin/python -m load.attacks.costs [parts of names]

Ends with status 1 if one is answered by 5xx other than 503, costs more than 2 s or 100 MB, or ends the worker.
"""

import gzip
import os
import sys
import tempfile
from contextlib import closing
from http.client import HTTPException
from pathlib import Path
from signal import SIGTERM
from time import perf_counter

from backports import zstd

from load.attacks import bodies, others
from load.server import Server, children, served, until

HOSTILE = bodies.HOSTILE | others.HOSTILE
MOST_SECONDS, MOST_BYTES = 2.0, 100e6
CODINGS = {"": bytes, "gzip": gzip.compress, "zstd": zstd.compress}
TICKS = os.sysconf("SC_CLK_TCK")


def spent(pid: int) -> float:
    """Return the seconds of processor time that a process has used, children that ended included."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(int(field) for field in fields[11:15]) / TICKS


def memory(pid: int, name: str) -> int:
    """Return what /proc says of a process's memory, in bytes: VmRSS, or VmHWM, the most since `forget_peak`."""
    (line,) = (line for line in Path(f"/proc/{pid}/status").read_text().splitlines() if line.startswith(f"{name}:"))
    return int(line.split()[1]) * 1024


def forget_peak(pid: int) -> None:
    Path(f"/proc/{pid}/clear_refs").write_text("5")


def cost(server: Server, name: str, coding: str) -> tuple[int, float, float, int, int]:
    """Return the status of a body, seconds of processor time and of the clock, bytes above before, bytes of the answer."""
    path, kind, make = HOSTILE[name]
    body = CODINGS[coding](make())
    packed, accepted = coding or others.PACKED.get(name, ""), others.ACCEPTED.get(name.partition(":")[0], "*/*")
    (worker,) = server.workers()
    forget_peak(worker)
    idle = memory(worker, "VmRSS")
    before, began = spent(worker) + spent(server.compiler()), perf_counter()
    headers = {"Content-Type": kind, "Accept": accepted} | ({"Content-Encoding": packed} if packed else {})
    with closing(server.connection()) as connection:
        try:
            connection.request("POST", path, body, headers)
            response = connection.getresponse()
            status, answer = response.status, response.read()
        except (ConnectionError, HTTPException):
            status, answer = 0, b""
    took = perf_counter() - began
    if server.workers() != [worker]:  # its time was up
        until(lambda: server.workers() not in ([], [worker]), server)
        return 0, took, took, 0, 0
    until(lambda: not children(server.compiler()), server)  # only then its time is known
    return status, spent(worker) + spent(server.compiler()) - before, took, memory(worker, "VmHWM") - idle, len(answer)


def begin_anew(server: Server) -> None:
    """Have another worker, which has answered once: it has made what is made once, and holds nothing of attacks before."""
    (old,) = server.workers()
    os.kill(old, SIGTERM)
    until(lambda: server.workers() not in ([], [old]) and len(server.workers()) == 1, server)
    for made_once in ("5,000 readings, all right", "table: a row", "print: 28 readings"):
        cost(server, made_once, "")


def main(*parts: str) -> int:
    """Print a line a body, the dearest coding of it, and say whether all are within the limits."""
    dear = 0
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), workers=1) as server:
        for name in (name for name in HOSTILE if not parts or any(part in name for part in parts)):
            for coding in [""] if name in others.PACKED else CODINGS:
                begin_anew(server)
                status, seconds, took, more, length = cost(server, name, coding)
                is_dear = seconds > MOST_SECONDS or more > MOST_BYTES or status == 0 or (status >= 500 and status != 503)
                dear += is_dear
                measured = f"{seconds:.2f} s of processor time, {took:.2f} s, {more / 1e6:.0f} MB more, {length:,} bytes"
                print("DEAR" if is_dear else "    ", f"{name}, {coding or 'plain'}: {status}, {measured}", flush=True)
    return int(dear > 0)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
