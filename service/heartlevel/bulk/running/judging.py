"""One part judged: a pure function of the part, so that it may be done anywhere, and again.

What is clean in tables goes to assessment by columns, all else as decoded requests; from there the way is one.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import TypeAlias

import numpy as np

from heartlevel.assessment import Rules, assess_batch, assess_requests, sitting_gaps
from heartlevel.bulk.inputs.input import InputFormat, RequestFormat
from heartlevel.bulk.outputs.assessed import AssessedSubjects
from heartlevel.bulk.outputs.registry import OutputFormat
from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.parts.parts import BulkPart, SentText, SubjectSheets
from heartlevel.bulk.parts.sheets import sheet_from
from heartlevel.bulk.running.problems import InputProblem, LocatedRequest, input_problems, origin_in, unreadable_problem
from heartlevel.bulk.running.results import ItemResult, JudgedPart, judged_part
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.intake.decoding import Undecodable
from heartlevel.intake.faults import sorted_problems
from heartlevel.intake.request import RefusedRequest, Request
from heartlevel.one_call import TOGETHER_IN_BULK, Outcome, read_decoded, refusal
from heartlevel.tables.batches import clean_batches
from heartlevel.tables.examined import Examined, examine
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.rows import CellOrigin, DecodedRows, decoded_rows


@dataclass(frozen=True, slots=True)
class Plan:
    """What every part is judged with. Names, formats and, of tables, layouts are those of the inputs, by number."""

    rules: Rules
    names: Sequence[str]
    formats: Sequence[InputFormat]
    layouts: Mapping[int, Layout]
    mapped: Mapped
    output: OutputFormat


Results: TypeAlias = dict[int, ItemResult]  # by number in the part


def judge_part(plan: Plan, part: BulkPart) -> JudgedPart:
    """Assess a part. Takes no other part, no clock and no file into account."""
    content = part.content
    groups, results = _judge_sheets(plan, content) if isinstance(content, SubjectSheets) else _judge_texts(plan, content)
    outputs = plan.output.write(groups, plan.rules, plan.names)
    return judged_part(part.number, outputs, [results[number] for number in sorted(results)])


def _judge_sheets(plan: Plan, sheets: SubjectSheets) -> tuple[list[AssessedSubjects], Results]:
    examined = examine(sheets.subjects, [sheet_from(*sheet) for sheet in sheets.by_input], plan.layouts, plan.mapped)
    groups, results = list[AssessedSubjects](), Results()
    for clean in clean_batches(examined, plan.rules.ruleset.choices, partial(sitting_gaps, rules=plan.rules)):
        starts = examined.starts[clean.subjects]
        conclusions = conclude(assess_batch(clean.batch, plan.rules))
        groups.append(AssessedSubjects(conclusions, clean.subjects, starts, examined.inputs, examined.lines))
        results |= _results_of_clean(plan, examined, groups[-1])
    doubtful = np.flatnonzero(examined.doubtful).tolist()
    decoded = [decoded_rows(rows, plan.layouts, plan.mapped) for rows in examined.rows_of(doubtful)]
    others, more = _judge_requests(plan, dict(zip(doubtful, decoded, strict=True)))
    return groups + others, results | more


def _results_of_clean(plan: Plan, examined: Examined, group: AssessedSubjects) -> Results:
    numbers, urgent, slips = group.numbers, group.conclusions.urgent.tolist(), group.conclusions.slips
    readings = (examined.starts[numbers + 1] - examined.starts[numbers]).tolist()
    results = Results()
    for subject, number in enumerate(numbers.tolist()):
        problems = list[InputProblem]()
        if subject in slips:
            origins = DecodedRows({}, examined.origins_of(number))
            problems = input_problems(plan.names, origins, sorted_problems(slips[subject]))
        results[number] = ItemResult(problems, readings[subject], urgent[subject])
    return results


def _judge_texts(plan: Plan, items: Sequence[SentText | Unreadable]) -> tuple[list[AssessedSubjects], Results]:
    results, requests = Results(), dict[int, LocatedRequest]()
    for item in items:
        if isinstance(item, Unreadable):
            results[len(results) + len(requests)] = ItemResult([unreadable_problem(plan.names, item)], refused=True)
        else:
            for request in _decoded(plan, item):
                requests[len(results) + len(requests)] = request
    groups, more = _judge_requests(plan, requests)
    return groups, results | more


def _decoded(plan: Plan, sent: SentText) -> Iterator[LocatedRequest]:
    """Decode a text; lines become lines of its input."""
    wire = plan.formats[sent.input]
    assert isinstance(wire, RequestFormat)
    for decoded in wire.decode([(sent.line, sent.text)]):
        if isinstance(decoded, Undecodable):
            yield Undecodable(CellOrigin(sent.input, decoded.origin), decoded.code, decoded.detail)
        else:
            origins = {pointer: CellOrigin(sent.input, line) for pointer, line in decoded.origins.items()}
            yield DecodedRows(decoded.request, origins)


def _judge_requests(plan: Plan, requests: Mapping[int, LocatedRequest]) -> tuple[list[AssessedSubjects], Results]:
    """Assess requests, some hundred together."""
    groups, results = list[AssessedSubjects](), Results()
    waiting = iter(requests.items())
    while batch := dict(islice(waiting, TOGETHER_IN_BULK)):
        outcomes = {number: read_decoded(0, decoded, plan.rules) for number, decoded in batch.items()}
        readable = {number: request for number, request in outcomes.items() if isinstance(request, Request)}
        refused = {number: outcome for number, outcome in outcomes.items() if isinstance(outcome, Outcome)}
        if readable:
            group, more, strictly_refused = _assessed(plan, readable, batch)
            groups.append(group)
            results |= more
            refused |= strictly_refused
        for number, outcome in refused.items():
            problems = input_problems(plan.names, batch[number], outcome.problems, outcome)
            results[number] = ItemResult(problems, refused=True, outcome=outcome)
    return groups, results


def _assessed(
    plan: Plan, requests: Mapping[int, Request], sent: Mapping[int, LocatedRequest]
) -> tuple[AssessedSubjects, Results, dict[int, Outcome]]:
    """Assess requests; refuse strict ones of whom anything is doubtful, slips of entry included."""
    conclusions = conclude(assess_requests(list(requests.values()), plan.rules))
    problems = {number: sorted_problems([*request.problems, *conclusions.slips.get(subject, ())])
                for subject, (number, request) in enumerate(requests.items())}  # fmt: skip
    refused = {number: refusal(0, RefusedRequest(problems[number])) for number, request in requests.items()
               if request.strict and problems[number]}  # fmt: skip
    if refused:
        kept = {number: request for number, request in requests.items() if number not in refused}
        return *_assessed(plan, kept, sent)[:2], refused
    urgent = conclusions.urgent.tolist()
    results: Results = {
        number: ItemResult(
            input_problems(plan.names, sent[number], problems[number]), len(request.readings), urgent[subject]
        )
        for subject, (number, request) in enumerate(requests.items())
    }
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
