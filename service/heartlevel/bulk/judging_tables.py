"""One part judged for tables: no answer and no object a reading."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias

import numpy as np
import orjson

from heartlevel.answer.result_tables import any_urgent
from heartlevel.assessment import Assessment, Rules, assess_batch, assess_requests, sitting_gaps
from heartlevel.bulk.converting import as_piece
from heartlevel.bulk.grouping import Bad
from heartlevel.bulk.judging import Plan, Refused, Result, Said, examined_rows
from heartlevel.bulk.parts import Item, Line, Rows
from heartlevel.bulk.places import Place, in_line, in_rows, unreadable
from heartlevel.bulk.result_rows import Found, tables_of
from heartlevel.intake.faults import Problem, sorted_problems
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.intake.request import Request
from heartlevel.one_call import Outcome, answer_each, understood
from heartlevel.tables.batches import CleanBatch, clean_batches
from heartlevel.tables.examined import Examined
from heartlevel.tables.rows import DecodedRows, SubjectRow, decoded_rows

# A request's place among the items, its text, and the rows of its readings, or the one line of them all.
Asked: TypeAlias = tuple[int, bytes | LineTooLong, Sequence[SubjectRow]]


def as_tables(plan: Plan, items: Sequence[Item]) -> tuple[list[bytes], list[Result]]:
    """Return the rows of each table as bytes, and what came of each item."""
    found, results = list[Found](), list[Result]()
    for some in _runs(items):
        if isinstance(some, Rows):
            results += _of_rows(plan, some, len(results), found)
        else:
            results += _of_others(plan, some, len(results), found)
    return [as_piece(rows) for rows in tables_of(found or [_nobody(plan.rules)], plan.names)], results


def no_rows(rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Return tables without a row as bytes."""
    return [as_piece(rows) for rows in tables_of([_nobody(rules)], names)]


def _nobody(rules: Rules) -> Found:
    none = np.zeros(0, dtype=np.int64)
    return Found(assess_requests([], rules), none, none, none, none)


def _runs(items: Sequence[Item]) -> "Iterator[Rows | list[Line | Bad]]":
    held = list[Line | Bad]()
    for item in items:
        if not isinstance(item, Rows):
            held.append(item)
            continue
        if held:
            yield held
        yield item
        held = []
    if held:
        yield held


def _of_rows(plan: Plan, rows: Rows, before: int, found: list[Found]) -> list[Result]:
    looked = examined_rows(plan, rows)
    results: dict[int, Result] = {}
    for clean in clean_batches(looked, plan.rules.ruleset.choices, partial(sitting_gaps, rules=plan.rules)):
        of = assess_batch(clean.batch, plan.rules)
        found.append(Found(of, clean.subjects + before, looked.starts[clean.subjects], looked.inputs, looked.lines))
        results |= _said(plan, looked, clean, of)
    doubtful = np.flatnonzero(looked.doubtful).tolist()
    groups = looked.rows_of(doubtful)
    decoded = [decoded_rows(one, plan.layouts, plan.mapped) for one in groups]
    asked: list[Asked] = [
        (place + before, orjson.dumps(one.request), group.rows)
        for place, one, group in zip(doubtful, decoded, groups, strict=True)
    ]
    for place, one, read in zip(doubtful, decoded, _by_request(plan, asked, found), strict=True):
        results[place] = read.result(in_rows(plan.names, one, read.problems, read.refused))
    return [results[place] for place in range(len(rows.subjects))]


def _of_others(plan: Plan, items: "Sequence[Line | Bad]", before: int, found: list[Found]) -> list[Result]:
    lines = [(place, one) for place, one in enumerate(items) if isinstance(one, Line)]
    asked: list[Asked] = [(place + before, one.text, [SubjectRow(one.input, one.line, [])]) for place, one in lines]
    results: dict[int, Result] = {
        place: Refused([unreadable(plan.names, one)]) for place, one in enumerate(items) if isinstance(one, Bad)
    }
    for (place, one), read in zip(lines, _by_request(plan, asked, found), strict=True):
        results[place] = read.result(in_line(plan.names, one, read.problems, read.refused))
    return [results[place] for place in range(len(items))]


def _said(plan: Plan, looked: Examined, clean: CleanBatch, of: Assessment) -> dict[int, Result]:
    urgent, slips = any_urgent(of).tolist(), slips_of(of)
    readings = (looked.starts[clean.subjects + 1] - looked.starts[clean.subjects]).tolist()
    said: dict[int, Result] = {}
    for subject, place in enumerate(clean.subjects.tolist()):
        problems = slips.get(subject)
        places = (
            in_rows(plan.names, DecodedRows({}, looked.origins_of(place)), sorted_problems(problems)) if problems else []
        )
        said[place] = Said(b"", readings[subject], urgent[subject], places)
    return said


@dataclass(slots=True)
class Read:
    """What came of one request."""

    problems: list[Problem]
    refused: Outcome | None = None
    readings: int = 0
    urgent: bool = False

    def result(self, places: list[Place]) -> Result:
        """Return it as what came of an item, problems found in the inputs."""
        return Refused(places, self.refused) if self.refused else Said(b"", self.readings, self.urgent, places)


def _by_request(plan: Plan, asked: Sequence[Asked], found: list[Found]) -> list[Read]:
    """Assess requests together."""
    if not asked:
        return []
    read = [_understood(plan, text) for _, text, _ in asked]
    requests = [(one, *asked[at]) for at, one in enumerate(read) if isinstance(one, Request)]
    of = assess_requests([one for one, *_ in requests], plan.rules)
    if requests:
        found.append(_found(of, requests))
    answered = zip((one for one, *_ in requests), any_urgent(of).tolist(), range(len(requests)), strict=True)
    slips = slips_of(of)
    return [Read(list(one.problems), one) if isinstance(one, Outcome) else _read(*next(answered), slips) for one in read]


def _understood(plan: Plan, text: bytes | LineTooLong) -> Request | Outcome:
    """Read a request; a strict one is refused for what shows only in its answer, too."""
    one = understood(0, text, plan.rules)
    if isinstance(one, Request) and one.strict:
        (outcome,) = answer_each([(0, text)], plan.rules)
        return one if outcome.answer is not None else outcome
    return one


def _read(request: Request, urgent: bool, subject: int, slips: Mapping[int, list[Problem]]) -> Read:
    return Read(sorted_problems([*request.problems, *slips.get(subject, [])]), None, len(request.readings), urgent)


def _found(of: Assessment, requests: Sequence[tuple[Request, int, Any, Sequence[SubjectRow]]]) -> Found:
    rows: list[SubjectRow] = []
    starts, places = [], []
    for request, place, _, stand in requests:
        starts.append(len(rows))
        places.append(place)
        most = 1 + max((one.index for one in request.readings), default=0)
        rows += stand if len(stand) >= most else list(stand) * most
    inputs = np.array([row.input for row in rows], dtype=np.int64)
    lines = np.array([row.line for row in rows], dtype=np.int64)
    return Found(of, np.array(places, dtype=np.int64), np.array(starts, dtype=np.int64), inputs, lines)


def slips_of(of: Assessment) -> dict[int, list[Problem]]:
    """Return, by subject, the findings that are slips of entry as problems, at the field at fault, without words."""
    found: dict[int, list[Problem]] = {}
    owner, places = of.batch.subject_of, of.batch.indices
    for scope in ("reading", "sitting"):
        verdicts = of.verdicts[scope]
        fired = verdicts.fired() if scope == "reading" else verdicts.fired()[:, of.batch.sitting_of]
        for rule, rows in zip(verdicts.rules, fired, strict=True):
            for row in np.flatnonzero(rows).tolist() if rule.field else ():
                at = f"/readings/{places[row]}/{rule.field}"
                found.setdefault(int(owner[row]), []).append(Problem(at, rule.id, ""))
    return found
