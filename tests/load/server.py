"""The real server as a process of its own, and what the operating system says about it. Linux only: reads /proc."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path

from heartlevel.compiling.waiting import NAME

PATIENCE_SECONDS = 180
# What the installed `heartlevel` does, with the interpreter and the package of the tests.
COMMAND = [sys.executable, "-c", "from heartlevel.command.main import main; main()"]


@dataclass(frozen=True)
class Server:
    """A running server. `scratch` is its directory for temporary files, `log` what it wrote."""

    process: subprocess.Popen
    port: int
    scratch: Path
    log: Path
    probes_port: int | None = None

    def connection(self) -> HTTPConnection:
        return HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_SECONDS)

    def get(self, path: str) -> tuple[int, bytes]:
        return get(self.port, path)

    def workers(self) -> list[int]:
        """Return the process ids of the workers: all children of the process that was started but the one that compiles."""
        return [pid for pid in children(self.process.pid) if comm(pid) != NAME]

    def compiler(self) -> int:
        """Return the process id of the one that waits to compile rules."""
        (pid,) = (pid for pid in children(self.process.pid) if comm(pid) == NAME)
        return pid

    def metrics_folders(self) -> list[Path]:
        return list(self.scratch.glob("heartlevel-metrics-*"))

    def stop(self) -> int:
        """Send SIGTERM and return the exit status."""
        self.process.terminate()
        return self.process.wait(PATIENCE_SECONDS)


def get(port: int, path: str) -> tuple[int, bytes]:
    """Return status and body of a GET over a connection of its own."""
    with closing(HTTPConnection("127.0.0.1", port, timeout=PATIENCE_SECONDS)) as connection:
        connection.request("GET", path)
        response = connection.getresponse()
        return response.status, response.read()


@contextmanager
def served(folder: Path, workers: int = 2, probes: bool = False, **environment: str) -> Iterator[Server]:
    """Start `heartlevel serve` on a free port and wait until it is ready; afterwards it is stopped."""
    port, log, scratch = free_port(), folder / "log", folder / "scratch"
    scratch.mkdir()
    with log.open("wb") as out:
        probes_port = free_port() if probes else None
        more = ["--probes-port", str(probes_port)] if probes else []
        process = subprocess.Popen(
            [*COMMAND, "serve", "--port", str(port), "--workers", str(workers), *more],
            stdout=out, stderr=out, env={**os.environ, "TMPDIR": str(scratch), **environment},
        )  # fmt: skip
    server = Server(process, port, scratch, log, probes_port)
    try:
        until(lambda: answers(server) and len(server.workers()) == workers, server)
        yield server
    finally:
        process.terminate()
        process.wait(PATIENCE_SECONDS)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def answers(server: Server) -> bool:
    try:
        return server.get("/ready")[0] == 200
    except ConnectionRefusedError:
        return False


def until(holds, server: Server) -> None:
    """Wait until something holds; AssertionError with the end of the log if the server ended or time is up."""
    last = time.monotonic() + PATIENCE_SECONDS
    while not holds():
        assert server.process.poll() is None and time.monotonic() < last, server.log.read_text()[-2000:]
        time.sleep(0.05)


def children(pid: int) -> list[int]:
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def comm(pid: int) -> str:
    """Return the name of a process, "" if there is none by now."""
    try:
        return Path(f"/proc/{pid}/comm").read_text().rstrip()
    except FileNotFoundError:
        return ""


def exists(pid: int) -> bool:
    return Path(f"/proc/{pid}").exists()


def resident(pids: list[int]) -> int:
    """Return the resident memory of several processes together, in bytes."""
    return sum(_resident(pid) for pid in pids)


def _resident(pid: int) -> int:
    # VmRSS and not PSS: PSS grows without a leak when a page shared since the fork is copied by its first writer.
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        name, _, amount = line.partition(":")
        if name == "VmRSS":
            return int(amount.removesuffix("kB")) * 1024
    raise AssertionError(f"process {pid} has no VmRSS line")
