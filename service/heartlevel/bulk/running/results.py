"""What comes of a part: what is written, what could not be read, and how many of each there were."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields

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
class ItemResult:
    """What is told of a request, or a row, beside what is written of it; one that there is no answer to was refused."""

    problems: list[InputProblem]
    readings: int = 0
    urgent: bool = False
    refused: bool = False
    outcome: Outcome | None = None  # of a request refused


def judged_part(number: int, outputs: list[bytes], results: Sequence[ItemResult]) -> JudgedPart:
    """Put what is written of a part together with what is told of its items."""
    problems = [problem for result in results for problem in result.problems]
    refused = sum(result.refused for result in results)
    readings, urgent = sum(result.readings for result in results), sum(result.urgent for result in results)
    return JudgedPart(
        number, outputs, b"".join(orjson.dumps(problem) + b"\n" for problem in problems),
        [note for result in results for note in _notes(result)],
        Counts(len(results) - refused, readings, urgent, refused, len(problems)),
    )  # fmt: skip


def _notes(result: ItemResult) -> Iterator[str]:
    """Say on lines for the caller's own screen why there is no answer, or what rows differ; no value is shown."""
    if not result.refused:
        yield from (f"{problem.input}:{problem.line}: {problem.column}: {problem.detail}" for problem in result.problems
                    if problem.pointer is None)  # fmt: skip
        return
    first, outcome = result.problems[0], result.outcome
    yield f"{first.input}:{first.line}: {outcome.detail if outcome else first.detail}"
    for problem, fault in zip(result.problems, outcome.problems if outcome else (), strict=False):
        yield f"{problem.input}:{problem.line}: {problem.column or fault.pointer or '/'}: {without_value(fault)}"
