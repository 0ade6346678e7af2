"""Parts judged by several processes, a few ahead, results in the order of the parts.

The processes are our own, each with a pipe of its own, and a part is sent only to a worker that waits for one: nobody
ever waits for a process that is gone. A pool of the standard library may (CPython issue 94777, in Python 3.11.2).
"""

import signal
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import chain, islice
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from traceback import format_exc
from typing import Any

from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.collector import seldom_collected
from heartlevel.bulk.running.judging import Plan, judge_part
from heartlevel.bulk.running.results import JudgedPart

AHEAD = 3  # parts a process, under way or waiting for their turn


class WorkerLost(Exception):
    """A worker process was ended from outside; the text says how, and more for workers on other machines."""


def on_this_machine(plan: Plan, parts: Iterator[BulkPart], workers: int) -> Iterator[tuple[BulkPart, JudgedPart]]:
    """Judge parts with so many processes; a single part, or a single worker, needs none. Raises WorkerLost."""
    first = list(islice(parts, 2))
    parts = chain(first, parts)
    if workers == 1 or len(first) < 2:
        with seldom_collected():
            yield from ((part, judge_part(plan, part)) for part in parts)
        return
    with _pipes_to_workers(plan, workers) as pipes:
        yield from _results(pipes, parts)


def _results(pipes: list[Connection], parts: Iterator[BulkPart]) -> Iterator[tuple[BulkPart, JudgedPart]]:
    """Yield each part with its result; at most AHEAD parts for each worker are held at once.

    Workers are given work first, then results are handed on, then parts read.
    """
    free, held, unsent = list(pipes), deque[BulkPart](), deque[BulkPart]()
    results, more = dict[int, JudgedPart](), True
    while more or held:
        free += _received(wait(pipes, 0), results)
        while free and unsent:
            _send(free.pop(), unsent.popleft())
        if held and held[0].number in results:
            part = held.popleft()
            yield part, results.pop(part.number)
        elif more and len(held) < AHEAD * len(pipes):
            read = list(islice(parts, 1))
            held += read
            unsent += read
            more = bool(read)
        elif held:
            free += _received(wait(pipes), results)


def _send(pipe: Connection, part: BulkPart) -> None:
    try:
        pipe.send(part)
    except OSError as error:
        raise WorkerLost("a worker process was ended from outside") from error


def _received(ready: list[Any], results: dict[int, JudgedPart]) -> list[Connection]:
    """Take what workers send; return the pipes to those that are free again."""
    for pipe in ready:
        try:
            result = pipe.recv()
        except (EOFError, OSError) as error:
            raise WorkerLost("a worker process was ended from outside") from error
        if isinstance(result, Exception):
            raise result
        results[result.number] = result
    return ready


@contextmanager
def _pipes_to_workers(plan: Plan, count: int) -> Iterator[list[Connection]]:
    """Fork the workers, which share the compiled rules with this process; none is left behind."""
    context = get_context("fork")
    pipes, workers = list[Connection](), []
    try:
        for _ in range(count):
            ours, theirs = context.Pipe()
            pipes.append(ours)
            workers.append(context.Process(target=_work, args=(plan, theirs, [*pipes]), daemon=True))
            workers[-1].start()
            theirs.close()  # the worker alone holds it, so that its end is seen here at once
        yield pipes
    finally:
        for worker in workers:
            worker.kill()
            worker.join()


def _work(plan: Plan, pipe: Connection, ends_of_parent: list[Connection]) -> None:
    """Judge parts until the pipe ends, as it does when the parent is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends its workers
    for end in ends_of_parent:
        end.close()
    with seldom_collected(), suppress(EOFError, OSError):
        while True:
            pipe.send(_judged_or_error(plan, pipe.recv()))


def _judged_or_error(plan: Plan, part: BulkPart) -> JudgedPart | Exception:
    try:
        return judge_part(plan, part)
    except Exception as error:  # noqa: BLE001 (raised again in the parent)
        error.add_note(format_exc())
        return error
