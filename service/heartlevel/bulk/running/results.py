"""What comes of a part: what is written, what could not be read, and how many of each there were."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from typing import TypeAlias

import orjson

from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.running.problems import InputProblem, input_problems, unreadable_problem, without_value
from heartlevel.decisions.decided import Decision
from heartlevel.located import Judged
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
    """What came of a part: bytes for each file, what could not be read, as lines for a file and for people, decisions."""

    number: int
    outputs: list[bytes]
    problems: bytes
    notes: list[str]
    counts: Counts = field(default_factory=Counts)
    decisions: list[Decision] = field(default_factory=list)  # where they are to be kept
    pages: list[list[tuple[str, bytes]]] = field(default_factory=list)  # by subject, where they are wanted
    languages: frozenset[str] = frozenset()  # of the answers


URGENT = "what is legible of it may need help"
Item: TypeAlias = Judged | Unreadable


def judged_part(number: int, outputs: list[bytes], items: Sequence[Item], names: Sequence[str]) -> JudgedPart:
    """Put what is written of a part together with what is told of its items; `names` are those of the inputs."""
    lines, notes, counts = list[bytes](), list[str](), Counts()
    for item in items:
        outcome = None if isinstance(item, Unreadable) else item.refused
        problems = [unreadable_problem(names, item)] if isinstance(item, Unreadable) else input_problems(names, item)
        lines += [orjson.dumps(problem) + b"\n" for problem in problems]
        counts.problems += len(problems)
        counts.urgent += item.urgent
        if isinstance(item, Unreadable) or outcome:
            counts.refused += 1
            notes += _why_refused(problems, outcome, item.urgent)
            continue
        notes += [f"{problem.input}:{problem.line}: {problem.column}: {problem.detail}" for problem in problems
                  if problem.pointer is None]  # fmt: skip
        counts.subjects += 1
        counts.readings += item.readings
    return JudgedPart(number, outputs, b"".join(lines), notes, counts)


def _why_refused(problems: Sequence[InputProblem], outcome: Outcome | None, urgent: bool) -> Iterator[str]:
    """Say on lines for the caller's own screen why there is no answer; no value that was sent is shown."""
    first = problems[0]
    mark = f" ({URGENT}: {first.urgency})" if urgent else ""
    yield f"{first.input}:{first.line}: {outcome.detail if outcome else first.detail}{mark}"
    for problem, fault in zip(problems, outcome.problems if outcome else (), strict=False):
        yield f"{problem.input}:{problem.line}: {problem.column or fault.pointer or '/'}: {without_value(fault)}"
