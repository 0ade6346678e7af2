"""How much memory and processor time the real server takes, by number of workers: what to give it for a load.

    cd tests && ../.venv/bin/python -m load.sizing

Processor time is told and not requests a second: those depend on what else the machine does. A request has 28 readings.
"""

import json
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from load.attacks.costs import spent
from load.server import Server, served
from support import week

BODY, REQUESTS, CLIENTS = json.dumps(week()), 400, 8


def shared_out(pid: int) -> int:
    """Return a process's memory in bytes, with its part of what is shared (PSS)."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("Pss:"))


def ask(server: Server) -> None:
    with closing(server.connection()) as connection:
        for _ in range(REQUESTS // CLIENTS):
            connection.request("POST", "/v1/assessments", BODY, {"Content-Type": "application/json"})
            response = connection.getresponse()
            assert response.status == 200 and response.read()


def main() -> int:
    for workers in (1, 2, 4):
        with tempfile.TemporaryDirectory() as folder, served(Path(folder), workers=workers) as server:
            processes = [server.process.pid, server.compiler(), *server.workers()]
            idle, before = sum(map(shared_out, processes)), sum(map(spent, server.workers()))
            with ThreadPoolExecutor(CLIENTS) as clients:
                list(clients.map(ask, [server] * CLIENTS))
            took = (sum(map(spent, server.workers())) - before) / REQUESTS
            print(f"{workers} workers: {idle / 1e6:.0f} MB at first, {sum(map(shared_out, processes)) / 1e6:.0f} MB after",
                  f"{REQUESTS} requests of {CLIENTS} clients, {1000 * took:.1f} ms of a core each", flush=True)  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
