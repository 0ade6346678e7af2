"""A soak: the real server for a time, at a share of what it can do, with reloads and faults; every answer is looked at.

    python tests/load/soak.py --minutes 60

Faults, one every few seconds, each in its turn: the younger worker killed; rules replaced; a broken layer laid; hostile
requests. A client whose worker was killed asks again, as service/INTEGRATING.md has it, and the answer must be there; an
answer that never comes is lost, one of other bytes than this process gives is wrong. Told at the end, and in the exit
status: lost and wrong answers, a kind of fault that did not happen, and the slope of the memory of the worker that lived
longest with its 95 % interval (judged from twenty minutes on: a worker that is new makes what it keeps); also the p99 of
the times of answers.
"""

import json
import random
import signal
import sys
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, suppress
from http.client import HTTPException
from os import kill
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Lock, Thread
from time import perf_counter, sleep

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))
from heartlevel import Rules
from heartlevel.web.application import create_app
from load.cases import Case, cases
from load.server import Server, resident, served

CLIENTS = 4
TRIES = 5
FAULTS = ("rules replaced", "hostile requests", "broken rules", "hostile requests", "worker killed")
LEAST_SECONDS_JUDGED = 1200
LAYER = 'name: Soak\nrevision: "{0}"\nchanges: [{1}]\n'
CHUNKED = b"POST /v1/assessments HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n"
HOSTILE = [b"GET / HTTP/1.1\r\nHost", b"\x16\x03\x01\x00\xff", CHUNKED, b"GET /" + b"x" * 20_000 + b" HTTP/1.1\r\n\r\n"]
MEBIBYTE = 1024 * 1024


class Soak:
    """What clients and faults have done so far; `expected` has the bytes of every case, for each revision of the layer."""

    def __init__(self, server: Server, clinic: Path, expected: list[dict[int, bytes]], todo: list[Case]) -> None:
        self.server, self.clinic, self.expected, self.todo = server, clinic, expected, todo
        self.counts, self.times, self.lock, self.stop = Counter(), [], Lock(), Event()
        self.memory: dict[int, list[tuple[float, int]]] = {}  # by worker: seconds since the beginning, and bytes

    def ask(self, pause: float, chance: random.Random) -> None:
        while not self.stop.is_set():
            begun, number = perf_counter(), chance.randrange(len(self.todo))
            body = self._answer(self.todo[number])
            taken = perf_counter() - begun
            with self.lock:
                self.times.append(taken)
                self.counts["asked"] += 1
                self.counts["lost"] += body is None
                self.counts["wrong"] += body is not None and body not in {known[number] for known in self.expected}
            self.stop.wait(max(0.0, pause - taken))

    def _answer(self, case: Case) -> bytes | None:
        for _ in range(TRIES):
            try:
                with closing(self.server.connection()) as connection:
                    connection.request(case.method, case.path, case.body, case.headers)
                    response = connection.getresponse()
                    body = response.read()
                if response.status != 503:
                    return b"%d " % response.status + body
            except (OSError, HTTPException):
                pass
            with self.lock:
                self.counts["asked again"] += 1
            sleep(0.2)
        return None

    def look(self) -> None:
        """Note the memory of each worker."""
        begun = perf_counter()
        while not self.stop.wait(1):
            for worker in self.server.workers():
                with suppress(FileNotFoundError, AssertionError):  # killed since, and perhaps still listed
                    self.memory.setdefault(worker, []).append((perf_counter() - begun, resident([worker])))

    def faults(self, every: float) -> None:
        turn = 0
        while not self.stop.wait(every):
            kind = FAULTS[turn % len(FAULTS)]
            {"rules replaced": self._replace, "broken rules": self._break, "hostile requests": self._attack,
             "worker killed": self._kill}[kind](turn)  # fmt: skip
            self.counts[kind] += 1
            turn += 1

    def _replace(self, turn: int) -> None:
        (self.clinic / "layer.yaml").write_text(LAYER.format(turn // len(FAULTS) % len(self.expected), ""))

    def _break(self, turn: int) -> None:
        (self.clinic / "layer.yaml").write_text(LAYER.format("broken", "{of: rule, id: none-such, off: true, reason: x}"))

    def _attack(self, turn: int) -> None:
        for sent in HOSTILE:
            with closing(self.server.connection()) as connection:
                try:
                    connection.connect()
                    connection.sock.sendall(sent)
                    connection.sock.settimeout(0.2)
                    connection.sock.recv(100)
                except OSError:
                    continue

    def _kill(self, turn: int) -> None:
        kill(self.server.workers()[-1], signal.SIGKILL)  # the older one is to show whether its memory grows


def answers_in_process(layers: Path, todo: list[Case], revisions: int) -> Iterator[dict[int, bytes]]:
    """Yield, for each revision of the layer, the bytes that every case is answered with."""
    for revision in range(revisions):
        (layers / "layer.yaml").write_text(LAYER.format(revision, ""))
        client = create_app({}, Rules.load(layers=[layers])).test_client()
        replies = [client.open(case.path, method=case.method, data=case.body, headers=case.headers) for case in todo]
        yield {number: b"%d " % reply.status_code + reply.data for number, reply in enumerate(replies)}


def fastest(server: Server, todo: list[Case], seconds: float) -> float:
    """Return how many requests a second are answered when clients do not pause."""
    measured = Soak(server, Path(), [], [])
    done, stop = Counter(), perf_counter() + seconds

    def ask(chance: random.Random) -> None:
        while perf_counter() < stop:
            measured._answer(chance.choice(todo))
            done["asked"] += 1  # a count of threads, near enough

    run_all([Thread(target=ask, args=(random.Random(number),)) for number in range(CLIENTS)], lambda: None)
    return done["asked"] / seconds


def run_all(threads: list[Thread], meanwhile) -> None:
    for thread in threads:
        thread.start()
    meanwhile()
    for thread in threads:
        thread.join()


def slope(memory: list[tuple[float, int]]) -> tuple[float, float]:
    """Return MiB an hour and half its 95 % interval, by the means of ten blocks: neighbours in time are not independent.

    The first fifth is left out, in which a worker makes what it keeps.
    """
    blocks = [np.mean(block, axis=0) for block in np.array_split(np.array(memory[len(memory) // 5 :]), 10)]
    at, size = np.array(blocks).T
    fitted = stats.linregress(at / 3600, size / MEBIBYTE)
    return fitted.slope, fitted.stderr * stats.t.ppf(0.975, len(blocks) - 2)


def soak(minutes: float, every: float, share: float) -> int:
    """Run it; print what came of it; return 1 for lost or wrong answers, a kind of fault missing or memory that grows."""
    todo = [case for case in cases() if case.path != "/ready" and not case.path.startswith("/v1/nowhere")]
    with TemporaryDirectory(prefix="soak-") as scratch:
        top = Path(scratch)
        clinic, there = top / "clinic", top / "server"
        clinic.mkdir(), there.mkdir()
        expected = [*answers_in_process(clinic, todo, 3)]
        with served(there, HEARTLEVEL_LAYERS=str(clinic), HEARTLEVEL_RELOAD_SECONDS="1") as server:
            most = fastest(server, todo, 5)
            run = Soak(server, clinic, expected, todo)
            pause = CLIENTS / (share * most)
            threads = [Thread(target=run.ask, args=(pause, random.Random(number))) for number in range(CLIENTS)]
            threads += [Thread(target=run.look), Thread(target=run.faults, args=(every,))]
            run_all(threads, lambda: (sleep(60 * minutes), run.stop.set()))
            return told(run, most)


def told(run: Soak, most: float) -> int:
    seconds, memory = np.array(run.times), max(run.memory.values(), key=len)
    report = {"most_per_second": round(most), **run.counts, "p50_ms": round(1000 * np.quantile(seconds, 0.5), 1),
              "p99_ms": round(1000 * np.quantile(seconds, 0.99), 1), "workers": len(run.memory)}  # fmt: skip
    lived, grows = memory[-1][0] - memory[0][0], False
    if len(memory) >= 50:
        rise, half = slope(memory)
        grows = lived >= LEAST_SECONDS_JUDGED and rise - half > 0
        report |= {"seconds_of_oldest_worker": round(lived),
                   "its_mib": round(memory[-1][1] / MEBIBYTE), "mib_per_hour": f"{rise:.1f} ± {half:.1f}"}  # fmt: skip
    print(json.dumps(report, indent=1))
    is_whole = run.counts["asked"] > 0 and all(run.counts[kind] > 0 for kind in FAULTS)
    return int(bool(run.counts["lost"] or run.counts["wrong"] or grows or not is_whole))


if __name__ == "__main__":
    parser = ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--faults-every", type=float, default=12, help="seconds")
    parser.add_argument("--share", type=float, default=0.7, help="of what the machine can do")
    arguments = parser.parse_args()
    sys.exit(soak(arguments.minutes, arguments.faults_every, arguments.share))
