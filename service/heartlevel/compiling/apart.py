"""Rules compiled in another process: forked by the one that waits for it, if there is one, or started anew."""

import logging
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from os import environ, pathsep
from pathlib import Path
from signal import Signals
from typing import TypeVar, cast

from heartlevel.assessment import Rules
from heartlevel.compiling.program import Compiled, ToCompile
from heartlevel.compiling.waiting import LONGEST_SECONDS, Gone, Waiting
from heartlevel.ruling.running.truth import known_tables

LOG = logging.getLogger("heartlevel")
Made = TypeVar("Made")
PROGRAM = "heartlevel.compiling"
_WAITING: list[Waiting] = []  # of this process and of those that are forked from it; empty, or one


class CompilerFailed(Exception):
    """The process that compiles ended without rules and without naming a mistake."""


class StillChanging(Exception):
    """Files changed while they were read: what was read may be half of each."""


class TakesTooLong(Exception):
    """It takes more time of a processor than was given for it."""


def have_one_wait(prepare: Callable[[], object]) -> None:
    """Have a process wait for what is to be compiled, prepared for it when it is idle. Call it before there are threads."""
    _WAITING[:] = [Waiting(prepare)]


def compiled_apart(folder: Path | None, layers: Sequence[Path]) -> Rules:
    """Return the rules of a directory and its layers, loaded in another process.

    Raises RuleFaults with the mistakes in the files, StillChanging if they changed while they were read, CompilerFailed if
    the process crashed or did not end.
    """
    return made_apart(_as_they_are, folder, layers, LONGEST_SECONDS)


def _as_they_are(rules: Rules) -> Rules:
    return rules


def made_apart(then: Callable[[Rules], Made], folder: Path | None, layers: Sequence[Path], most_seconds: float) -> Made:
    """Return what `then` makes of the rules of a directory and its layers, all in another process.

    Raises as `compiled_apart` does, and TakesTooLong if it takes that process more seconds of a processor.
    """
    # Most conditions are of a shape that was there before.
    question = ToCompile(folder, tuple(layers), then, known_tables(), most_seconds)
    try:
        # Only our own processes write to these pipes.
        answer: Compiled = pickle.loads(_answer_to(question))  # noqa: S301 - of our own child
    except (EOFError, pickle.UnpicklingError) as error:
        raise CompilerFailed("it ended in the middle") from error
    if answer.faults:
        raise answer.faults
    if answer.was_changing:
        raise StillChanging
    if answer.out_of_time:
        raise TakesTooLong(f"more than {most_seconds:g} s of a processor")
    return cast(Made, answer.result)


def _answer_to(question: ToCompile) -> bytes:
    for waiting in _WAITING:
        try:
            return waiting.answer_to(pickle.dumps(question))
        except Gone:
            LOG.warning("the process that waits to compile rules is gone: one is started each time, which takes longer")
            _WAITING.clear()
    # It has nothing prepared.
    return _answer_of_program(replace(question, most_seconds=2 * question.most_seconds))


def _answer_of_program(question: ToCompile) -> bytes:
    command = [sys.executable, "-m", PROGRAM]
    paths = {**environ, "PYTHONPATH": pathsep.join(filter(None, sys.path))}
    asked = pickle.dumps(question)
    try:
        ended = subprocess.run(command, input=asked, env=paths, capture_output=True, timeout=LONGEST_SECONDS, check=True)  # noqa: S603 - our own
        return ended.stdout
    except subprocess.CalledProcessError as error:
        raise CompilerFailed(_ending(error.returncode)) from error
    except subprocess.TimeoutExpired as error:
        raise CompilerFailed(f"it took more than {LONGEST_SECONDS} s") from error


def _ending(status: int) -> str:
    return f"it was killed ({Signals(-status).name})" if status < 0 else f"it ended with status {status}"
