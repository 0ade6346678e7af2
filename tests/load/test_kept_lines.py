"""Audit log, decisions and metrics of a real server with several workers, while files are rotated and a worker killed."""

import json
import re
import signal
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPException
from os import kill
from pathlib import Path
from threading import Event, Thread

import pytest

from load.server import Server, served, until
from support import demo, week

WORKERS, CLIENTS, EACH = 3, 4, 45
JSON, NDJSON = "application/json", "application/x-ndjson"
STREAM = b"\n".join(json.dumps(payload).encode() for payload in (demo()[0], {"subject": {}}, demo()[4]))
ASKED = [
    ("POST", "/v1/assessments", json.dumps(week()).encode(), JSON), ("POST", "/v1/assessments", b'{"subject": {}}', JSON),
    ("POST", "/v1/assessments", json.dumps(demo()[6]).encode(), JSON), ("GET", "/v1/rules", None, JSON),
    ("POST", "/v1/assessments", STREAM, NDJSON), ("POST", "/v1/assessments", b"no json", JSON),
]  # fmt: skip
SAMPLE = re.compile(r"^(heartlevel_\w+)(?:\{([^}]*)\})? (\S+)$", re.MULTILINE)


@dataclass
class Answered:
    """What came back, by the request's id, and what /metrics counted meanwhile."""

    statuses: dict[str, tuple[str, int]] = field(default_factory=dict)  # route and status
    answers: dict[str, list[dict]] = field(default_factory=dict)  # assessments, those of a stream line by line
    levels: list[str] = field(default_factory=list)  # of urgency, also of what is legible of a refused request
    counted: Counter = field(default_factory=Counter)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def answered(folder) -> Answered:
    kept = {"HEARTLEVEL_AUDIT": folder / "audit", "HEARTLEVEL_DECISIONS": folder / "decisions"}
    with served(folder, workers=WORKERS, probes=True, **{name: str(path) for name, path in kept.items()}) as server:
        before, outcome, is_over = counters(server), Answered(), Event()
        rotating = Thread(target=rotate, args=(list(kept.values()), is_over))
        rotating.start()
        try:
            with ThreadPoolExecutor(CLIENTS) as clients:
                running = [clients.submit(ask, server, outcome, client) for client in range(CLIENTS)]
                until(lambda: len(outcome.statuses) > CLIENTS * EACH // 2, server)
                kill(server.workers()[0], signal.SIGKILL)
                for client in running:
                    client.result()
        finally:
            is_over.set()
            rotating.join()
        until(lambda: len(server.workers()) == WORKERS, server)
        outcome.counted = counters(server) - before
    return outcome


def rotate(paths: list[Path], is_over: Event) -> None:
    """Move the files away again and again, as log rotation does; nobody is told."""
    number = 0
    while not is_over.wait(0.03):
        number += 1
        for path in paths:
            with suppress(FileNotFoundError):  # nothing was kept since
                path.rename(path.with_name(f"{path.name}.{number}"))


def ask(server: Server, outcome: Answered, client: int) -> None:
    connection = server.connection()
    for number in range(EACH):
        method, path, body, kind = ASKED[(client + number) % len(ASKED)]
        for attempt in range(5):  # a worker that is killed takes what it was answering with it
            name = f"r-{client}-{number}-{attempt}"
            try:
                connection.request(method, path, body, {"Content-Type": kind, "X-Request-Id": name})
                response = connection.getresponse()
                lines = response.read().splitlines()
            except (HTTPException, ConnectionError):
                connection.close()
                continue
            outcome.statuses[name] = (path, response.status)
            told = [json.loads(line) for line in lines]
            outcome.levels += [answer["urgency"]["level"] for answer in told if "urgency" in answer]
            if path == "/v1/assessments" and response.status == 200:
                outcome.answers[name] = [answer for answer in told if "counts" in answer]
            break
    connection.close()


def counters(server: Server) -> Counter:
    """Return what is counted, by name and labels; /metrics and probes, which count themselves, left out."""
    samples = SAMPLE.findall(server.get("/metrics")[1].decode())
    return Counter({(name, labels): float(value) for name, labels, value in samples
                    if not {"/metrics", "/ready", "/health"} & set(labels.split('"'))})  # fmt: skip


def kept_lines(folder: Path, name: str) -> Iterator[dict]:
    """Yield the lines of a file and of those that it was before it was rotated."""
    for path in folder.glob(f"{name}*"):
        yield from map(json.loads, path.read_text().splitlines())


def test_every_answer_has_its_one_line_in_the_audit_log_whatever_was_rotated_or_killed(answered, folder):
    lines = list(kept_lines(folder, "audit"))
    kept = {line["request"]: (line["route"], line["status"]) for line in lines if line["request"] in answered.statuses}
    assert kept == answered.statuses
    assert len(answered.statuses) == CLIENTS * EACH and len(list(folder.glob("audit.*"))) > 2
    repeated = Counter(line["request"] for line in lines) - Counter({line["request"] for line in lines})
    assert repeated == Counter()


def test_every_assessment_has_its_one_line_among_the_decisions(answered, folder):
    lines = Counter(line["request"] for line in kept_lines(folder, "decisions") if line["request"] in answered.statuses)
    assert lines == Counter({name: len(answers) for name, answers in answered.answers.items()})


def test_metrics_are_the_sums_over_all_workers_also_of_one_that_was_killed(answered):
    """What was being answered when the worker was killed is counted or not: nobody knows whether it was answered."""
    requests = Counter(answered.statuses.values())
    told = {(route, status): answered.counted["heartlevel_requests_total", f'route="{route}",status="{status}"']
            for route, status in requests}  # fmt: skip
    unsure = sum(told.values()) - sum(requests.values())
    assert 0 <= unsure <= CLIENTS and all(0 <= told[key] - requests[key] <= unsure for key in requests), (told, requests)
    answers = [answer for several in answered.answers.values() for answer in several]
    for name, what in (("readings_received", "received"), ("readings", "assessed")):
        amount = answered.counted[f"heartlevel_{name}_total", ""] - sum(answer["counts"][what] for answer in answers)
        assert 0 <= amount <= (unsure + CLIENTS) * 200
    for level, count in Counter(answered.levels).items():
        assert 0 <= answered.counted["heartlevel_urgency_total", f'level="{level}"'] - count <= 2 * CLIENTS
