"""The beginning of an input tried: what of it would fail, by column, and where; nothing is written, and no value shown."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from re import sub

from heartlevel.assessment import Rules
from heartlevel.bulk.inputs.input import RequestFormat
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.outputs.registry import NDJSON
from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.parts.parts import BulkInputs, BulkPart, PartContent, SubjectSheets, request_texts_of, rows_of_table
from heartlevel.bulk.parts.sheets import NamedRows, as_bytes, sheets_of
from heartlevel.bulk.running.judging import Plan, judged_items
from heartlevel.bulk.running.problems import InputProblem, input_problems, unreadable_problem, without_value

MOST_TRIED = 1000  # rows of a table, or requests
SHOWN = 3  # lines of each kind of failure


@dataclass(slots=True)
class Failure:
    """What would fail in the same way: in a column, or in a field of requests; `None` where it is the row as a whole."""

    where: str | None
    code: str
    detail: str
    lines: list[int] = field(default_factory=list)

    def __str__(self) -> str:
        """Say it on a line."""
        shown = ", ".join(map(str, self.lines[:SHOWN]))
        more = ", ..." if len(self.lines) > SHOWN else ""
        at = "a row as a whole" if self.where is None else self.where
        return f"{at}: {self.detail} [{self.code}]: {len(self.lines)}, on line {shown}{more}"


def failures_of(inputs: BulkInputs, number: int, rules: Rules) -> tuple[int, list[Failure]]:
    """Try the beginning of an input; return how many rows or requests that was, and what would fail, most often first."""
    source = inputs.inputs[number]
    plan = Plan(rules, [each.name for each in inputs.inputs], [each.format for each in inputs.inputs], inputs.layouts,
                inputs.mapped, NDJSON)  # fmt: skip
    if isinstance(source.format, RequestFormat):
        texts = list(islice(request_texts_of(number, source, source.format, Meter(None)), MOST_TRIED))
        return len(texts), _grouped(_problems(plan, [list(texts)]))
    rows = list(_beginning(rows_of_table(inputs, number, Meter(None))))
    tried = sum(len(item.rows) if isinstance(item, NamedRows) else 1 for item in rows)
    return tried, _grouped(_problems(plan, _contents_of(rows)))


def _beginning(rows: Iterable[NamedRows | Unreadable]) -> Iterator[NamedRows | Unreadable]:
    left = MOST_TRIED
    for item in rows:
        if isinstance(item, NamedRows):
            item = NamedRows(item.input, item.rows[:left])
        yield item
        left -= len(item.rows) if isinstance(item, NamedRows) else 1
        if left <= 0:
            return


def _contents_of(rows: Sequence[NamedRows | Unreadable]) -> Iterator[PartContent]:
    named = [item for item in rows if isinstance(item, NamedRows)]
    if named:
        sheets = sheets_of(named)
        yield SubjectSheets(sheets.subjects, [(number, as_bytes(sheet)) for number, sheet in sheets.by_input])
    yield [item for item in rows if isinstance(item, Unreadable)]


def _problems(plan: Plan, contents: Iterable[PartContent]) -> Iterator[InputProblem]:
    for content in contents:
        _, items = judged_items(plan, BulkPart(0, content))
        for item in items.values():
            if isinstance(item, Unreadable):
                yield unreadable_problem(plan.names, item)
                continue
            told = input_problems(plan.names, item)
            for problem, fault in zip(told, item.problems, strict=False):
                yield replace(problem, detail=without_value(fault))
            yield from told[len(item.problems) :]


def _grouped(problems: Iterable[InputProblem]) -> list[Failure]:
    failures: dict[tuple[str | None, str], Failure] = {}
    for fault in problems:
        where = fault.column or (sub(r"/\d+(?=/|$)", "/*", fault.pointer) if fault.pointer else None)
        failures.setdefault((where, fault.code), Failure(where, fault.code, fault.detail)).lines.append(fault.line)
    for failure in failures.values():
        failure.lines.sort()
    return sorted(failures.values(), key=lambda failure: (-len(failure.lines), failure.where or "", failure.code))
