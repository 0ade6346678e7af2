"""How fast one 28-reading request is: beside an endpoint that only echoes it, and step by step in one process.

`python tests/bench/run.py [ROUNDS] [SECONDS]` prints two tables, with 0 rounds that of the steps alone. Both servers run
at once but are asked in turn, so that what else the machine does meets both alike. Uses wrk (a Debian package) and no test
asks for its figures.
"""

import os
import platform
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from http.client import HTTPConnection
from itertools import pairwise
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "service"), str(HERE)]

from body import body, payload  # noqa: E402

from heartlevel import Rules  # noqa: E402
from heartlevel.answer.whole import answers, as_json  # noqa: E402
from heartlevel.assessment import assess_requests  # noqa: E402
from heartlevel.intake.request import read  # noqa: E402

WORKERS, CONNECTIONS, IN_PROCESS_RUNS = 2, 8, 400
TOGETHER = (1, 2, 4, 8)
JSON = {"Content-Type": "application/json"}
SERVERS = {
    "assessments": ("/v1/assessments", lambda port: ["-c", "from heartlevel.command.main import main; main()", "serve",
                                                     "--port", str(port), "--workers", str(WORKERS)]),
    "echo": ("/echo", lambda port: [str(HERE / "echo.py"), str(port), str(WORKERS)]),
}  # fmt: skip
TO_MS = {"us": 0.001, "ms": 1.0, "s": 1000.0}


def main(rounds: int = 5, seconds: int = 4) -> None:
    if rounds and shutil.which("wrk") is None:
        sys.exit("wrk is not installed (apt-get install wrk)")
    print(f"{len(body())} bytes, 28 readings; Python {platform.python_version()}, {os.cpu_count()} processors, "
          f"{WORKERS} workers, {CONNECTIONS} connections, {rounds} rounds of {seconds} s\n")  # fmt: skip
    if rounds:
        over_http(rounds, seconds)
    step_by_step()


def over_http(rounds: int, seconds: int) -> None:
    with serving("assessments") as service, serving("echo") as echo, TemporaryDirectory() as folder:
        script = wrk_script(Path(folder))
        servers = {"assessments": service, "echo": echo}
        for server in servers.values():
            asked(server, script, 1)  # warm
        runs = [(name, asked(server, script, seconds)) for _ in range(rounds) for name, server in servers.items()]
    print(f"{'endpoint':<14}{'requests/s':>12}{'p50 ms':>9}{'cpu ms':>9}{'lowest':>9}{'highest':>9}   (median of rounds)")
    of = {name: [round_ for one, round_ in runs if one == name] for name in servers}
    rate = {name: median(one.rate for one in several) for name, several in of.items()}
    cpu = {name: median(one.cpu for one in several) for name, several in of.items()}
    for name, several in of.items():
        p50, rates = median(one.p50 for one in several), [one.rate for one in several]
        print(f"{name:<14}{rate[name]:>12.0f}{p50:>9.2f}{cpu[name]:>9.2f}{min(rates):>9.0f}{max(rates):>9.0f}")
    print(f"assessments reach {rate['assessments'] / rate['echo']:.1%} of the echo's requests/s; "
          f"by the workers' processor time {cpu['echo'] / cpu['assessments']:.1%}\n")  # fmt: skip


@dataclass(frozen=True)
class Serving:
    """A running server: where to post to, and its first process."""

    url: str
    pid: int

    def processor_seconds(self) -> float:
        """Return what its workers have used so far (proc(5): fields 14 and 15 of stat are utime and stime)."""
        children = Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()
        stats = [Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split() for pid in children]
        return sum(int(one[11]) + int(one[12]) for one in stats) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Round:
    """What one round measured: requests a second, median milliseconds, processor milliseconds a request."""

    rate: float
    p50: float
    cpu: float


@contextmanager
def serving(name: str) -> Iterator[Serving]:
    """Start a server of the table and stop it afterwards."""
    path, arguments = SERVERS[name]
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    place = os.pathsep.join([*sys.path[:3], os.environ.get("PYTHONPATH", "")])
    process = subprocess.Popen(
        [sys.executable, *arguments(port)], env={**os.environ, "PYTHONPATH": place}, stderr=subprocess.DEVNULL
    )
    try:
        wait_for(process, port, path)
        yield Serving(f"http://127.0.0.1:{port}{path}", process.pid)
    finally:
        process.terminate()
        process.wait(30)


def wait_for(process: subprocess.Popen, port: int, path: str) -> None:
    """Wait until a server answers the request with 200."""
    last = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < last:
        with suppress(ConnectionRefusedError):
            connection = HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("POST", path, body(), JSON)
            status = connection.getresponse().status
            connection.close()
            if status != 200:
                sys.exit(f"{path} answers {status}")
            return
        time.sleep(0.1)
    sys.exit(f"the server of {path} did not start")


def wrk_script(folder: Path) -> Path:
    """Write the body and the script that makes wrk post it."""
    (folder / "body.json").write_bytes(body())
    script = folder / "post.lua"
    script.write_text(
        f'local file = io.open("{folder / "body.json"}", "rb")\n'
        'wrk.method = "POST"\nwrk.body = file:read("*a")\nwrk.headers["Content-Type"] = "application/json"\n'
    )  # fmt: skip
    return script


def asked(server: Serving, script: Path, seconds: int) -> Round:
    """Let wrk ask for some seconds; ends the benchmark if any answer was not a success."""
    command = ["wrk", "-t1", f"-c{CONNECTIONS}", f"-d{seconds}s", "--latency", "-s", str(script), server.url]
    before = server.processor_seconds()
    text = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    used = server.processor_seconds() - before
    rate, p50 = re.search(r"Requests/sec:\s+([\d.]+)", text), re.search(r"50%\s+([\d.]+)(us|ms|s)\b", text)
    count = re.search(r"(\d+) requests in", text)
    if "Non-2xx" in text or rate is None or p50 is None or count is None:
        sys.exit(f"{server.url} did not answer as it should:\n{text}")
    return Round(float(rate[1]), float(p50[1]) * TO_MS[p50[2]], 1000 * used / int(count[1]))


def step_by_step() -> None:
    """Time the steps of whole requests in this process, by its processor time."""
    rules, sent = Rules.load(), payload()
    answer = answered(rules, sent, lambda _: None)
    if len(answer["readings"]) != 28 or answer["problems"]:
        sys.exit("the benchmark's request has faults")
    times: dict[str, list[float]] = {}
    for _ in range(IN_PROCESS_RUNS):
        laps = [("", process_time())]
        answered(rules, sent, lambda name, laps=laps: laps.append((name, process_time())))
        for (_, began), (name, ended) in pairwise(laps):
            times.setdefault(name, []).append(1000 * (ended - began))
    print(f"{'step':<14}{'median ms':>12}   ({IN_PROCESS_RUNS} runs)")
    for name, several in times.items():
        print(f"{name:<14}{median(several):>12.3f}")
    print(f"{'all':<14}{median(map(sum, zip(*times.values(), strict=True))):>12.3f}\n")
    side_by_side(rules, sent)


def side_by_side(rules: Rules, sent: dict) -> None:
    """Time what requests cost that are assessed as one batch, as a worker does with those that arrive together."""
    print(f"{'together':<14}{'ms each':>12}   (assess and answer)")
    for count in TOGETHER:
        requests, times = [read(sent, rules.ruleset.choices) for _ in range(count)], []
        for _ in range(IN_PROCESS_RUNS // count):
            began = process_time()
            for _answer in answers(assess_requests(requests, rules)):
                pass
            times.append(1000 * (process_time() - began) / count)
        print(f"{count:<14}{median(times):>12.3f}")


def answered(rules: Rules, sent: dict, done: Callable[[str], object]) -> dict:
    """Answer a request step by step, as `answer_to` and the route do; `done` is told of each step's end."""
    request = read(sent, rules.ruleset.choices)
    done("read")
    assessment = assess_requests([request], rules)
    done("assess")
    (answer,) = answers(assessment)
    done("answer")
    as_json(answer)
    done("as_json")
    return answer


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
