"""One part judged: a pure function of the part, so that it may be done anywhere, and again."""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import orjson

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.bulk.grouping import Bad, Group
from heartlevel.bulk.mapping import Mapped
from heartlevel.bulk.parts import Item, Part
from heartlevel.bulk.places import Place, placed
from heartlevel.bulk.rows import Made, request_from
from heartlevel.bulk.tables import Layout
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.one_call import TOGETHER_IN_BULK, Outcome, answer_each

FINDING_COLUMNS = ("subject", "finding", "rule", "scope", "severity", "urgent", "effect", "title", "explanation",
                   "advice", "readings", "facts", "rules_fingerprint")  # fmt: skip
Render = Callable[[dict[str, Any]], bytes]


@dataclass(frozen=True, slots=True)
class Plan:
    """What every part is judged with."""

    rules: Rules
    names: Sequence[str]  # of the inputs
    layouts: Mapping[int, Layout]
    mapped: Mapped
    render: Render


@dataclass(slots=True)
class Counts:
    """What was found so far."""

    subjects: int = 0
    readings: int = 0
    urgent: int = 0
    refused: int = 0
    problems: int = 0

    def add(self, other: "Counts") -> None:
        """Add what another part held."""
        for one in fields(self):
            setattr(self, one.name, getattr(self, one.name) + getattr(other, one.name))


@dataclass(slots=True)
class Judged:
    """What came of a part: bytes of the output, and what could not be read, as lines for a file and for people."""

    number: int
    output: bytes
    problems: bytes
    notes: list[str]
    counts: Counts = field(default_factory=Counts)


def judged(plan: Plan, part: Part) -> Judged:
    """Assess a part. Takes no other part, no clock and no file into account."""
    output, problems, notes, counts = [], [], list[str](), Counts()
    for item, made, outcome in _outcomes(plan, part.items):
        places = placed(plan, item, made, outcome)
        problems += [orjson.dumps(one.as_dict()) + b"\n" for one in places]
        counts.problems += len(places)
        if outcome is None or outcome.answer is None:
            counts.refused += 1
            notes += _notes(places, outcome)
            continue
        notes += [f"{one.input}:{one.line}: {one.column}: {one.detail}" for one in places if one.pointer is None]
        output.append(plan.render(outcome.answer))
        counts.subjects += 1
        counts.readings += len(outcome.answer["readings"])
        counts.urgent += outcome.answer["urgent"]
    return Judged(part.number, b"".join(output), b"".join(problems), notes, counts)


def _outcomes(plan: Plan, items: Sequence[Item]) -> Iterator[tuple[Item, Made | None, Outcome | None]]:
    """Answer the items through the one call; this is the place where tables meet it."""
    made = [request_from(item, plan.layouts, plan.mapped) if isinstance(item, Group) else None for item in items]
    asked = [(at, _asked(item, request)) for at, (item, request) in enumerate(zip(items, made, strict=True))
             if not isinstance(item, Bad)]  # fmt: skip
    answered = answer_each(asked, plan.rules, together=TOGETHER_IN_BULK)
    for item, request in zip(items, made, strict=True):
        yield item, request, None if isinstance(item, Bad) else next(answered)


def _asked(item: Item, made: Made | None) -> bytes | LineTooLong:
    if made is not None:
        return orjson.dumps(made.request)
    assert not isinstance(item, (Bad, Group))
    return item.text


def _notes(places: Sequence[Place], outcome: Outcome | None) -> Iterator[str]:
    """Say on lines for the caller's own screen why there is no answer."""
    first = places[0]
    at = f"{first.input}:{first.line}"
    yield f"{at}: {outcome.detail if outcome else first.detail}"
    yield from (f"{at}: {one}" for one in outcome.problems) if outcome else ()


def whole_answer(answer: dict[str, Any]) -> bytes:
    """Write an answer as a line of JSON."""
    return as_json(answer) + b"\n"


def findings_as_lines(answer: dict[str, Any]) -> bytes:
    """Write an answer's findings as lines of JSON, one a finding."""
    return b"".join(orjson.dumps(dict(zip(FINDING_COLUMNS, row, strict=True))) + b"\n" for row in _finding_rows(answer))


def findings_as_csv(answer: dict[str, Any]) -> bytes:
    """Write an answer's findings as CSV; lists and facts as JSON."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(
        [_csv_cell(cell) for cell in row] for row in _finding_rows(answer)
    )  # fmt: skip
    return text.getvalue().encode()


def _finding_rows(answer: dict[str, Any]) -> Iterator[list[Any]]:
    fingerprint = answer["made_with"]["rules"]["fingerprint"]
    for one in answer["findings"]:
        yield [answer["subject"]["id"], one["id"], *(one[name] for name in FINDING_COLUMNS[2:11]),
               orjson.dumps(one["facts"]).decode(), fingerprint]  # fmt: skip


def _csv_cell(cell: Any) -> Any:
    if isinstance(cell, bool):
        return str(cell).lower()
    return orjson.dumps(cell).decode() if isinstance(cell, list) else cell
