"""One part judged: a pure function of the part, so that it may be done anywhere, and again."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from heartlevel.assessment import Rules
from heartlevel.bulk.inputs.input import InputFormat, RequestFormat
from heartlevel.bulk.outputs.registry import OutputFormat
from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.parts.parts import BulkPart, SentText, SubjectSheets
from heartlevel.bulk.parts.sheets import sheet_from
from heartlevel.bulk.running.results import Item, JudgedPart, judged_part
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.decisions.by_part import decided_in_part
from heartlevel.intake.decoding import Undecodable
from heartlevel.legible import legible_urgencies
from heartlevel.located import AssessedSubjects, LocatedRequest, in_order_of_subjects, judge_examined, judge_requests
from heartlevel.tables.examined import examine
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.rows import CellOrigin, DecodedRows

MakePages: TypeAlias = Callable[[Conclusions, Rules], Iterator[bytes]]  # one a subject


@dataclass(frozen=True, slots=True)
class Plan:
    """What every part is judged with. Names, formats and, of tables, layouts are those of the inputs, by number."""

    rules: Rules
    names: Sequence[str]
    formats: Sequence[InputFormat]
    layouts: Mapping[int, Layout]
    mapped: Mapped
    output: OutputFormat
    decisions: bool = False  # are to be kept
    pages: tuple[MakePages, ...] = ()  # the kinds of pages wanted


def judge_part(plan: Plan, part: BulkPart) -> JudgedPart:
    """Assess a part. Takes no other part, no clock and no file into account."""
    groups, results = judged_items(plan, part)
    outputs = plan.output.write(groups, plan.rules, plan.names)
    judged = judged_part(part.number, outputs, [results[number] for number in sorted(results)], plan.names)
    judged.languages = frozenset(
        request.language for group in groups for request in group.conclusions.assessment.batch.requests
    )
    judged.pages = [_pages(plan, groups, make) for make in plan.pages]
    judged.decisions = decided_in_part(groups) if plan.decisions else []
    return judged


def _pages(plan: Plan, groups: Sequence[AssessedSubjects], make: MakePages) -> list[tuple[str, bytes]]:
    """Return a page for each subject, with the subject's name."""

    def of_group(group: AssessedSubjects) -> Iterator[tuple[str, bytes]]:
        requests = group.conclusions.assessment.batch.requests
        yield from zip((request.subject["id"] for request in requests), make(group.conclusions, plan.rules), strict=True)

    return list(in_order_of_subjects(groups, of_group))


def judged_items(plan: Plan, part: BulkPart) -> tuple[list[AssessedSubjects], Mapping[int, Item]]:
    """Assess a part; return its subjects, and by number what is told of each and of what could not be read."""
    if isinstance(part.content, SubjectSheets):
        sheets = [sheet_from(*sheet) for sheet in part.content.by_input]
        return judge_examined(examine(part.content.subjects, sheets, plan.layouts, plan.mapped), plan.rules)
    unreadable, requests = dict[int, Item](), dict[int, LocatedRequest]()
    for item in part.content:
        for result in [item] if isinstance(item, Unreadable) else _decoded(plan, item):
            if isinstance(result, Unreadable):
                unreadable[len(unreadable) + len(requests)] = result
            else:
                requests[len(unreadable) + len(requests)] = result
    groups, results = judge_requests(requests, plan.rules)
    return groups, _looked_at(unreadable, plan.rules) | results


def _looked_at(unreadable: Mapping[int, Item], rules: Rules) -> dict[int, Item]:
    """Return what cannot be read, with how urgent is what is legible of it."""
    items = {number: item for number, item in unreadable.items() if isinstance(item, Unreadable)}
    rows = {number: item for number, item in items.items() if item.request is not None}
    urgencies = legible_urgencies([item.request for item in rows.values()], rules)
    levels = dict(zip(rows, (urgency["level"] for urgency in urgencies), strict=True))
    return {number: replace(item, request=None, urgency=levels.get(number)) for number, item in items.items()}


def _decoded(plan: Plan, sent: SentText) -> Iterator[LocatedRequest]:
    """Decode a text; lines become lines of its input."""
    wire = plan.formats[sent.input]
    assert isinstance(wire, RequestFormat)
    for decoded in wire.decode([(sent.line, sent.text)], plan.rules.ruleset.choices.form):
        if isinstance(decoded, Undecodable):
            origin = CellOrigin(sent.input, decoded.origin)
            yield Undecodable(origin, decoded.code, decoded.detail, decoded.legible, remarks=decoded.remarks)
        else:
            origins = {pointer: CellOrigin(sent.input, line) for pointer, line in decoded.origins.items()}
            yield DecodedRows(decoded.request, origins, remarks=decoded.remarks)
