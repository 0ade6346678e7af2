"""One table that was sent, assessed by the way of files: the same answers, and each problem with its line and column."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from heartlevel.answer.detail import in_detail
from heartlevel.assessment import Rules
from heartlevel.bulk.inputs.input import Input, TableFormat
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.inputs.registry import CSV
from heartlevel.bulk.outputs.registry import NDJSON
from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.parts.parts import SubjectSheets, parts_of
from heartlevel.bulk.running.carrying_out import Job, bulk_inputs
from heartlevel.bulk.running.judging import Plan, judged_items
from heartlevel.bulk.running.problems import InputProblem, input_problems, unreadable_problem
from heartlevel.bulk.running.results import Item
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.intake.request import TooManyReadings
from heartlevel.located import AssessedSubjects, in_order_of_subjects
from heartlevel.one_call import answers_with_others
from heartlevel.tables.meanings import Mapped

MOST_PEOPLE = 200  # who are answered at once, without others having their turn
NAME = "table"  # what the input is called where problems name it


@dataclass(frozen=True)
class AssessedTable:
    """A table that was assessed, part by part."""

    plan: Plan
    parts: Sequence[tuple[Sequence[AssessedSubjects], Mapping[int, Item]]]

    def as_dict(self) -> dict[str, Any]:
        """Return the `answers`, and `problems` by line and column."""
        answers = [in_detail(answer, conclusions.assessment.batch.requests[subject].detail)
                   for conclusions, subject, answer in self.subjects]  # fmt: skip
        problems = [fault for _, items in self.parts for number in sorted(items) for fault in _problems(items[number])]
        problems.sort(key=lambda fault: (fault["line"], fault["column"] or ""))
        return {"answers": answers, "problems": problems}

    @cached_property
    def subjects(self) -> list[tuple[Conclusions, int, dict[str, Any]]]:
        """Of each subject what was concluded, its number in that, and the whole answer, in the order of the answers."""
        return [subject for groups, _ in self.parts for subject in in_order_of_subjects(groups, self._of_group)]

    def _of_group(self, group: AssessedSubjects) -> Iterator[tuple[Conclusions, int, dict[str, Any]]]:
        for subject, answer in enumerate(answers_with_others(group.conclusions, self.plan.rules)):
            yield group.conclusions, subject, answer


def assessed_table(table: bytes, rules: Rules, zone: str | None, form: TableFormat = CSV) -> AssessedTable:
    """Assess a table, a reading a row.

    `zone` is the time zone of times without an offset. Raises WrongCall where columns are not understood, TooManyReadings.
    """
    fixed = {"options.time_zone": zone} if zone else {}
    with TemporaryDirectory(prefix="heartlevel-") as folder:
        kept = Path(folder) / NAME
        kept.write_bytes(table)
        mapped = Mapped(fixed=fixed, form=rules.ruleset.choices.form)
        plan = Job(rules, inputs := bulk_inputs([Input(NAME, form, kept)], mapped), NDJSON).plan()
        parts = list(parts_of(inputs, Path(folder), Meter(None)))
        people = sum(len(part.content.subjects) for part in parts if isinstance(part.content, SubjectSheets))
        if people > MOST_PEOPLE:
            raise TooManyReadings(people, MOST_PEOPLE, "people")
        return AssessedTable(plan, [judged_items(plan, part) for part in parts])


def _problems(item: Item) -> Iterator[dict[str, Any]]:
    """Yield what is wrong with a subject's rows, or with a row; who sent them is told what was found there."""
    if isinstance(item, Unreadable):
        yield _named(unreadable_problem([NAME], item))
        return
    told = input_problems([NAME], item)
    for fault, sent in zip(told, item.problems, strict=False):
        yield _named(replace(fault, detail=sent.detail))
    for fault in told[len(item.problems) :]:
        yield _named(fault)


def _named(fault: InputProblem) -> dict[str, Any]:
    return {name: value for name, value in asdict(fault).items() if name != "input"}
