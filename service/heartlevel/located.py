"""Subjects of tables, and decoded requests, assessed together, and where in what was sent everything of them stands.

What is clean in tables goes to assessment by columns, all else as decoded requests; from there the way is one.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import TypeAlias, TypeVar

import numpy as np

from heartlevel.answer.findings import entry_problems, written_findings
from heartlevel.answer.urgency import urgency_written
from heartlevel.assessment import Rules, assess_batch, assess_requests, sitting_gaps
from heartlevel.columns import Ints
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.intake.decoding import Undecodable
from heartlevel.intake.faults import Problem, sorted_problems
from heartlevel.intake.request import RefusedRequest, Request
from heartlevel.one_call import TOGETHER_IN_BULK, Outcome, read_together, refusal
from heartlevel.tables.batches import clean_batches
from heartlevel.tables.examined import Examined
from heartlevel.tables.rows import CellOrigin, DecodedRows

Written = TypeVar("Written")
LocatedRequest: TypeAlias = DecodedRows | Undecodable[CellOrigin]


@dataclass(frozen=True, slots=True, eq=False)
class AssessedSubjects:
    """Subjects assessed together, their numbers among all, and where in the inputs each one's readings stand."""

    conclusions: Conclusions
    numbers: Ints  # by subject
    starts: Ints  # by subject, among the rows of all
    inputs: Ints  # by row, the input's number
    lines: Ints  # by row


@dataclass(frozen=True, slots=True)
class Judged:
    """What is told of a subject, and what of it could not be read; slips of entry are without words there."""

    sent: LocatedRequest
    problems: Sequence[Problem] = ()
    readings: int = 0
    urgent: bool = False
    refused: Outcome | None = None  # why there is no answer


NOTHING_TO_TELL = DecodedRows({})  # of rows that are read without a fault
Judgement: TypeAlias = tuple[list[AssessedSubjects], dict[int, Judged]]  # the latter by number of the subject


def nobody(rules: Rules) -> AssessedSubjects:
    """Return the assessment of no subject."""
    none = np.zeros(0, dtype=np.int64)
    return AssessedSubjects(conclude(assess_requests([], rules)), none, none, none, none)


def judge_examined(examined: Examined, rules: Rules, unclear: frozenset[str] = frozenset()) -> Judgement:
    """Assess the subjects of tables; `unclear` is what could not be understood of anybody, as `Request.unclear`."""
    groups, results = list[AssessedSubjects](), dict[int, Judged]()
    for batch, numbers in clean_batches(examined, rules.ruleset.choices, partial(sitting_gaps, rules=rules), unclear):
        starts, conclusions = examined.starts[numbers], conclude(assess_batch(batch, rules))
        groups.append(AssessedSubjects(conclusions, numbers, starts, examined.inputs, examined.lines))
        details = zip(numbers.tolist(), examined.starts[numbers + 1] - starts, conclusions.urgent.tolist(), strict=True)
        for subject, (number, readings, urgent) in enumerate(details):
            slips = sorted_problems(conclusions.slips.get(subject, ()))
            sent = DecodedRows({}, examined.origins_of(number)) if slips else NOTHING_TO_TELL
            results[number] = Judged(sent, slips, int(readings), urgent)
    doubtful = np.flatnonzero(examined.doubtful).tolist()
    others, more = judge_requests(dict(zip(doubtful, examined.requests_of(doubtful), strict=True)), rules, unclear)
    return groups + others, results | more


def judge_requests(sent: Mapping[int, LocatedRequest], rules: Rules, unclear: frozenset[str] = frozenset()) -> Judgement:
    """Assess requests, some hundred together."""
    groups, results = list[AssessedSubjects](), dict[int, Judged]()
    waiting = iter(sent.items())
    while batch := dict(islice(waiting, TOGETHER_IN_BULK)):
        outcomes = dict(zip(batch, read_together([(0, decoded) for decoded in batch.values()], rules), strict=True))
        readable = {number: request for number, request in outcomes.items() if isinstance(request, Request)}
        refused = {number: outcome for number, outcome in outcomes.items() if isinstance(outcome, Outcome)}
        for request in readable.values():
            request.unclear |= unclear
        if readable:
            group, more, strictly_refused = _assessed(readable, batch, rules)
            groups.append(group)
            results |= more
            refused |= strictly_refused
        results |= {
            number: Judged(batch[number], why.problems, urgent=why.urgent, refused=why) for number, why in refused.items()
        }
    return groups, results


def _assessed(
    requests: Mapping[int, Request], sent: Mapping[int, LocatedRequest], rules: Rules
) -> tuple[AssessedSubjects, dict[int, Judged], dict[int, Outcome]]:
    """Assess requests; refuse strict ones of whom anything is doubtful, slips of entry included."""
    conclusions = conclude(assess_requests(list(requests.values()), rules))
    urgent, slips = conclusions.urgent.tolist(), conclusions.slips
    results, refused = dict[int, Judged](), dict[int, Outcome]()
    for subject, (number, request) in enumerate(requests.items()):
        problems = sorted_problems([*request.problems, *slips.get(subject, ())])
        results[number] = Judged(sent[number], problems, len(request.readings), urgent[subject])
        if request.strict and problems:
            worded = entry_problems(conclusions, subject, written_findings(conclusions, subject))
            urgency = urgency_written(conclusions, subject)
            refused[number] = refusal(0, RefusedRequest([*request.problems, *worded], urgency), request.subject["id"])
    if refused:
        kept = {number: request for number, request in requests.items() if number not in refused}
        return *_assessed(kept, sent, rules)[:2], refused
    return _located(conclusions, requests, sent), results, refused


def _located(
    conclusions: Conclusions, requests: Mapping[int, Request], sent: Mapping[int, LocatedRequest]
) -> AssessedSubjects:
    """Say where the readings of requests stand."""
    starts, origins = list[int](), list[CellOrigin]()
    for number, request in requests.items():
        starts.append(len(origins))
        last = max((reading.index for reading in request.readings), default=0)
        origins += (origin_in(sent[number], f"/readings/{index}") for index in range(last + 1))
    numbers, first_rows = np.array(list(requests), dtype=np.int64), np.array(starts, dtype=np.int64)
    inputs, lines = (np.array([getattr(origin, name) for origin in origins], dtype=np.int64) for name in ("input", "line"))
    return AssessedSubjects(conclusions, numbers, first_rows, inputs, lines)


def origin_in(sent: LocatedRequest, pointer: str) -> CellOrigin:
    """Return where in the inputs a part of a request stands."""
    origin = sent.origin_of(pointer)
    assert origin is not None
    return origin


def in_order_of_subjects(
    groups: Sequence[AssessedSubjects], write: Callable[[AssessedSubjects], Iterator[Written]]
) -> Iterator[Written]:
    """Yield what is written of each subject of some groups, in the order of their numbers in the part."""
    written: dict[int, Written] = {}
    for group in groups:
        written |= zip(group.numbers.tolist(), write(group), strict=True)
    yield from (written[number] for number in sorted(written))
