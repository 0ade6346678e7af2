"""What comes of a part: what is written, what could not be read, and how many of each there were."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from typing import TypeAlias

import orjson

from heartlevel.bulk.running.problems import InputProblem, without_value
from heartlevel.one_call import Outcome


@dataclass(slots=True)
class Counts:
    """How many there were so far."""

    subjects: int = 0
    readings: int = 0
    urgent: int = 0
    refused: int = 0
    problems: int = 0

    def add(self, other: "Counts") -> None:
        """Add what another part held."""
        for count in fields(self):
            setattr(self, count.name, getattr(self, count.name) + getattr(other, count.name))


@dataclass(slots=True)
class JudgedPart:
    """What came of a part: bytes for each file, and what could not be read, as lines for a file and for people."""

    number: int
    outputs: list[bytes]
    problems: bytes
    notes: list[str]
    counts: Counts = field(default_factory=Counts)


@dataclass(frozen=True, slots=True)
class SubjectAssessed:
    """What is told of a subject beside what is written of it."""

    problems: list[InputProblem]
    readings: int
    urgent: bool


@dataclass(frozen=True, slots=True)
class NotAssessed:
    """A request, or a row, that there is no answer to."""

    problems: list[InputProblem]
    outcome: Outcome | None = None


ItemResult: TypeAlias = SubjectAssessed | NotAssessed


def judged_part(number: int, outputs: list[bytes], results: Sequence[ItemResult]) -> JudgedPart:
    """Put what is written of a part together with what is told of its items."""
    problems, notes, counts = list[bytes](), list[str](), Counts()
    for result in results:
        problems += [orjson.dumps(problem.as_dict()) + b"\n" for problem in result.problems]
        counts.problems += len(result.problems)
        if isinstance(result, NotAssessed):
            counts.refused += 1
            notes += _notes(result)
            continue
        notes += [f"{problem.input}:{problem.line}: {problem.column}: {problem.detail}" for problem in result.problems
                  if problem.pointer is None]  # fmt: skip
        counts.subjects += 1
        counts.readings += result.readings
        counts.urgent += result.urgent
    return JudgedPart(number, outputs, b"".join(problems), notes, counts)


def _notes(refused: NotAssessed) -> Iterator[str]:
    """Say on lines for the caller's own screen why there is no answer; no value that was sent is shown."""
    first, outcome = refused.problems[0], refused.outcome
    yield f"{first.input}:{first.line}: {outcome.detail if outcome else first.detail}"
    for problem, fault in zip(refused.problems, outcome.problems if outcome else (), strict=False):
        yield f"{problem.input}:{problem.line}: {problem.column or fault.pointer or '/'}: {without_value(fault)}"
