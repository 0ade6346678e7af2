"""Parts judged by several processes, a few ahead, results in the order of the parts."""

import gc
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from itertools import chain, islice
from multiprocessing import get_context
from threading import Thread
from time import sleep
from typing import Protocol, TypeAlias

from heartlevel.bulk.judging import Judged, Plan, judged
from heartlevel.bulk.parts import Part

AHEAD = 3  # parts a process, under way or waiting for their turn


class Pending(Protocol):
    """A result that may not be there yet."""

    def result(self) -> Judged:
        """Wait for it."""


Submit: TypeAlias = Callable[[Part], Pending]
_plan: list[Plan] = []  # of a child process; it has only one


class Done:
    """A result that is there."""

    def __init__(self, found: Judged) -> None:
        """Keep it."""
        self._found = found

    def result(self) -> Judged:
        """Return it."""
        return self._found


def in_order(parts: Iterable[Part], submit: Submit, ahead: int) -> Iterator[tuple[Part, Judged]]:
    """Yield each part with what came of it, at most `ahead` parts being held at once."""
    waiting: deque[tuple[Part, Pending]] = deque()
    for part in parts:
        waiting.append((part, submit(part)))
        if len(waiting) >= ahead:
            first, pending = waiting.popleft()
            yield first, pending.result()
    for first, pending in waiting:
        yield first, pending.result()


def on_this_machine(plan: Plan, parts: Iterator[Part], workers: int) -> Iterator[tuple[Part, Judged]]:
    """Judge parts with so many processes; a single part, or a single worker, needs none."""
    first = list(islice(parts, 2))
    if workers == 1 or len(first) < 2:
        yield from in_order(chain(first, parts), lambda part: Done(judged(plan, part)), 1)
        return
    with _processes(plan, workers) as submit:
        yield from in_order(chain(first, parts), submit, AHEAD * workers)


@contextmanager
def _processes(plan: Plan, workers: int) -> Iterator[Submit]:
    """Fork the workers; they share the compiled rules with this process."""
    pool = ProcessPoolExecutor(workers, get_context("fork"), _begin, (plan, os.getpid()))
    try:
        yield lambda part: pool.submit(_judged_here, part)
    finally:
        pool.shutdown(cancel_futures=True)


def _begin(plan: Plan, parent: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends its workers
    _plan[:] = [plan]
    gc.freeze()  # the rules stay: there is no use in looking through them again and again
    Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process when its parent is gone: a parent that was killed can no longer end it."""
    while os.getppid() == parent:
        sleep(0.5)
    os._exit(1)


def _judged_here(part: Part) -> Judged:
    return judged(_plan[0], part)
