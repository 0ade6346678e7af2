"""One part judged: a pure function of the part, so that it may be done anywhere, and again."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import partial
from typing import TypeAlias

import numpy as np
import orjson

from heartlevel.assessment import Rules, sitting_gaps
from heartlevel.bulk.grouping import Bad
from heartlevel.bulk.kinds import Kind
from heartlevel.bulk.parts import Item, Line, Part, Rows
from heartlevel.bulk.places import Place, in_line, in_rows, unreadable, without_value
from heartlevel.bulk.sheets import sheet_from
from heartlevel.intake.faults import Problem
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.one_call import TOGETHER_IN_BULK, Outcome, answer_each
from heartlevel.tables.batches import clean_batches
from heartlevel.tables.examined import Examined, examine
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.rows import SubjectRows, decoded_rows


@dataclass(frozen=True, slots=True)
class Plan:
    """What every part is judged with."""

    rules: Rules
    names: Sequence[str]  # of the inputs
    layouts: Mapping[int, Layout]
    mapped: Mapped
    kind: Kind


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
    """What came of a part: bytes of each output, and what could not be read, as lines for a file and for people."""

    number: int
    outputs: list[bytes]
    problems: bytes
    notes: list[str]
    counts: Counts = field(default_factory=Counts)


@dataclass(frozen=True, slots=True)
class Said:
    """What came of one subject: what is written of it, and what could not be read."""

    output: bytes
    readings: int
    urgent: bool
    places: list[Place]


@dataclass(frozen=True, slots=True)
class Refused:
    """A request, or a row, that there is no answer to."""

    places: list[Place]
    outcome: Outcome | None = None


Result: TypeAlias = Said | Refused


def judged(plan: Plan, part: Part) -> Judged:
    """Assess a part. Takes no other part, no clock and no file into account."""
    if plan.kind.is_tables:
        from heartlevel.bulk.judging_tables import as_tables

        outputs, results = as_tables(plan, part.items)
    else:
        results = list(_results(plan, part.items))
        outputs = [b"".join(one.output for one in results if isinstance(one, Said))]
    return _counted(part.number, outputs, results)


def _counted(number: int, outputs: list[bytes], results: Sequence[Result]) -> Judged:
    problems, notes, counts = [], list[str](), Counts()
    for one in results:
        problems += [orjson.dumps(place.as_dict()) + b"\n" for place in one.places]
        counts.problems += len(one.places)
        if isinstance(one, Refused):
            counts.refused += 1
            notes += _notes(one)
            continue
        notes += [f"{place.input}:{place.line}: {place.column}: {place.detail}" for place in one.places
                  if place.pointer is None]  # fmt: skip
        counts.subjects += 1
        counts.readings += one.readings
        counts.urgent += one.urgent
    return Judged(number, outputs, b"".join(problems), notes, counts)


def _notes(refused: Refused) -> Iterator[str]:
    """Say on lines for the caller's own screen why there is no answer; no value that was found is shown."""
    first, outcome = refused.places[0], refused.outcome
    yield f"{first.input}:{first.line}: {outcome.detail if outcome else first.detail}"
    for place, one in zip(refused.places, outcome.problems if outcome else (), strict=False):
        yield f"{place.input}:{place.line}: {place.column or one.pointer or '/'}: {without_value(one)}"


def _results(plan: Plan, items: Sequence[Item]) -> Iterator[Result]:
    """Return what came of each item, in order; rows are looked at by columns, doubtful ones one by one."""
    waiting = list[Line]()
    for item in items:
        if isinstance(item, Line):
            waiting.append(item)
            continue
        yield from _of_lines(plan, waiting)
        waiting = []
        if isinstance(item, Bad):
            yield Refused([unreadable(plan.names, item)])
        else:
            yield from _of_rows(plan, item)
    yield from _of_lines(plan, waiting)


def _of_rows(plan: Plan, rows: Rows) -> Iterator[Result]:
    from heartlevel.bulk.judging_batches import said_of

    examined = examined_rows(plan, rows)
    found: dict[int, Result] = {}
    for clean in clean_batches(examined, plan.rules.ruleset.choices, partial(sitting_gaps, rules=plan.rules)):
        found |= zip(clean.subjects.tolist(), said_of(plan, examined, clean), strict=True)
    doubtful = np.flatnonzero(examined.doubtful).tolist()
    found |= zip(doubtful, _of_groups(plan, examined.rows_of(doubtful)), strict=True)
    yield from (found[place] for place in range(len(rows.subjects)))


def examined_rows(plan: Plan, rows: Rows) -> Examined:
    """Examine the rows of a part by columns."""
    sheets = [sheet_from(number, content) for number, content in rows.by_input]
    return examine(rows.subjects, sheets, plan.layouts, plan.mapped)


def _of_groups(plan: Plan, groups: Sequence[SubjectRows]) -> Iterator[Result]:
    decoded = [decoded_rows(one, plan.layouts, plan.mapped) for one in groups]
    for one, outcome in zip(decoded, _answered(plan, [orjson.dumps(one.request) for one in decoded]), strict=True):
        problems, refused = problems_of(outcome), None if outcome.answer else outcome
        yield _result(plan, outcome, in_rows(plan.names, one, problems, refused))


def _of_lines(plan: Plan, lines: Sequence[Line]) -> Iterator[Result]:
    for line, outcome in zip(lines, _answered(plan, [one.text for one in lines]), strict=True):
        yield _result(plan, outcome, in_line(plan.names, line, problems_of(outcome), None if outcome.answer else outcome))


def _answered(plan: Plan, texts: Sequence[bytes | LineTooLong]) -> Iterator[Outcome]:
    return answer_each(enumerate(texts), plan.rules, together=TOGETHER_IN_BULK)


def problems_of(outcome: Outcome) -> list[Problem]:
    """Return what is wrong with a request, answered or not."""
    if outcome.answer is not None:
        return [Problem(**one) for one in outcome.answer["problems"]]
    return list(outcome.problems)


def _result(plan: Plan, outcome: Outcome, places: list[Place]) -> Result:
    answer = outcome.answer
    if answer is None:
        return Refused(places, outcome)
    return Said(plan.kind.written(answer), len(answer["readings"]), answer["urgent"], places)
