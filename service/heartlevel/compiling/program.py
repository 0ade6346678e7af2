"""What compiles, in a process of its own: a question is read from one file, the answer is written to another.

Both are pickled, by and for processes of this service alone.
"""

import gc
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from signal import ITIMER_PROF, SIGPROF, setitimer, signal
from types import FrameType
from typing import IO, Any, Never

from heartlevel.assessment import Rules
from heartlevel.ruling.files.directories.stamps import stamp_of
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.running.truth import Table, learn


class OutOfTime(BaseException):
    """It took more time of a processor than it may; no handler of others is to catch it on its way."""


@dataclass(frozen=True, slots=True)
class ToCompile:
    """What is to be compiled, what is to be made of it, and what is known that need not be asked of the engine again."""

    folder: Path | None
    layers: tuple[Path, ...]
    then: Callable[[Rules], Any]
    known: Mapping[str, Table]  # truth tables, by the shape as JSON text
    most_seconds: float  # of a processor


@dataclass(frozen=True, slots=True)
class Compiled:
    """What was made of the rules, or the mistakes in their files; neither where files changed meanwhile or time ran out."""

    result: Any = None
    faults: RuleFaults | None = None
    was_changing: bool = False
    out_of_time: bool = False


def answer(asked: IO[bytes], told: IO[bytes]) -> None:
    """Read a ToCompile and write its Compiled. The process ends then: what it leaves need not be collected."""
    gc.disable()
    question: ToCompile = pickle.load(asked)  # noqa: S301 - of our own parent
    signal(SIGPROF, _end)
    try:
        setitimer(ITIMER_PROF, question.most_seconds)
        result = _answered(question)
        setitimer(ITIMER_PROF, 0)
    except OutOfTime:
        result = Compiled(out_of_time=True)
    told.write(pickle.dumps(result))
    told.flush()


def _answered(question: ToCompile) -> Compiled:
    learn(question.known)
    directories = question.folder, question.layers
    stamp = stamp_of(*directories)
    try:
        rules, faults = Rules.load(*directories), None
    except RuleFaults as error:
        rules, faults = None, error
    if stamp_of(*directories) != stamp:
        return Compiled(was_changing=True)
    return Compiled(faults=faults) if rules is None else Compiled(question.then(rules))


def _end(_: int, __: FrameType | None) -> Never:
    raise OutOfTime
