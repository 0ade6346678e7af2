"""Worker processes: results in order, and no end of a worker that leaves the run waiting or a process behind."""

import os
import signal
import subprocess
import sys
import time
from collections import deque
from multiprocessing import active_children
from pathlib import Path
from threading import Timer

import pytest

from heartlevel.bulk.parts.parts import BulkPart, SentText
from heartlevel.bulk.running import workers
from heartlevel.bulk.running.results import JudgedPart

LARGE = 2 * 1024 * 1024  # more than any pipe holds
WORKERS = 2


@pytest.fixture
def ended_in_time():
    """End the test by a signal to itself where it would wait for ever."""
    alarm = Timer(60, lambda: os.kill(os.getpid(), signal.SIGINT))
    alarm.start()
    yield
    alarm.cancel()
    assert active_children() == []


def parts(count: int, size: int = LARGE) -> list[BulkPart]:
    return [BulkPart(number, [SentText(0, number, b"x" * size)]) for number in range(count)]


def judging_by(monkeypatch, act) -> None:
    """Have the workers judge by `act(part)` and send much back."""

    def judge_part(plan, part):
        act(part)
        return JudgedPart(part.number, [part.content[0].text], b"", [])

    monkeypatch.setattr(workers, "judge_part", judge_part)


def numbers(given) -> list[int]:
    found = []
    for part, judged in workers.on_this_machine(None, iter(given), WORKERS):
        assert part.number == judged.number
        found.append(part.number)
    return found


def test_results_come_in_the_order_of_the_parts_whatever_each_takes(monkeypatch, ended_in_time):
    judging_by(monkeypatch, lambda part: time.sleep(0.2 if part.number % 5 == 0 else 0))
    assert numbers(parts(30, 10)) == list(range(30))


def test_few_parts_are_held_at_once(monkeypatch, ended_in_time):
    judging_by(monkeypatch, lambda part: time.sleep(0.3 if part.number == 0 else 0))
    read = deque()

    def watched():
        for part in parts(40, 10):
            read.append(part.number)
            yield part

    for written, _ in enumerate(workers.on_this_machine(None, watched(), WORKERS)):
        assert len(read) - written <= workers.AHEAD * WORKERS


@pytest.mark.parametrize("at", [0, 1, 5])
def test_a_worker_that_is_killed_ends_the_run_at_once(monkeypatch, ended_in_time, at):
    judging_by(monkeypatch, lambda part: part.number == at and os.kill(os.getpid(), signal.SIGKILL))
    with pytest.raises(workers.WorkerLost):
        numbers(parts(200))


def test_a_worker_killed_while_it_waits_ends_the_run_at_once(monkeypatch, ended_in_time):
    judging_by(monkeypatch, lambda part: None)
    results = workers.on_this_machine(None, iter(parts(20)), WORKERS)
    next(results)
    for child in active_children():
        child.kill()
        child.join()
    with pytest.raises(workers.WorkerLost):
        deque(results)


def test_a_failure_in_a_worker_is_raised_with_where_it_was(monkeypatch, ended_in_time):
    def fail(part):
        if part.number == 3:
            raise KeyError("spoiled")

    judging_by(monkeypatch, fail)
    with pytest.raises(KeyError, match="spoiled") as error:
        numbers(parts(20))
    assert "in fail" in error.value.__notes__[0]


def test_results_no_longer_wanted_leave_no_worker_behind(monkeypatch, ended_in_time):
    judging_by(monkeypatch, lambda part: None)
    results = workers.on_this_machine(None, iter(parts(20)), WORKERS)
    next(results)
    results.close()


STARTED = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # what is started in the background ignores it
sys.path.insert(0, {service!r})
from multiprocessing import active_children
from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running import workers
from heartlevel.bulk.running.results import JudgedPart

def judge_part(plan, part):
    time.sleep(0.2)
    return JudgedPart(part.number, [bytes(3_000_000)], b"", [])

workers.judge_part = judge_part
for part, _ in workers.on_this_machine(None, (BulkPart(number, []) for number in range(10_000)), 3):
    print(*(one.pid for one in active_children()), flush=True)
"""


@pytest.mark.parametrize(("sent", "status"), [(signal.SIGKILL, -signal.SIGKILL), (signal.SIGINT, -signal.SIGINT)])
def test_a_parent_that_is_killed_or_interrupted_takes_its_workers_with_it(sent, status):
    code = STARTED.format(service=str(Path(workers.__file__).parents[3]))
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        children = process.stdout.readline().split()
        process.send_signal(sent)
        assert process.wait(10) == status
    end = time.monotonic() + 10
    while any(Path(f"/proc/{child.decode()}").exists() for child in children):
        assert time.monotonic() < end
        time.sleep(0.05)
    assert len(children) == 3
