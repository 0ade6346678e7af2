"""One table that was sent, assessed by the way of files: the same answers, and each problem with its line and column."""

from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import orjson

from heartlevel.assessment import Rules
from heartlevel.bulk.inputs.input import Input, TableFormat
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.inputs.registry import CSV
from heartlevel.bulk.outputs.registry import NDJSON
from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.bulk.parts.parts import parts_of
from heartlevel.bulk.running.carrying_out import Job, bulk_inputs
from heartlevel.bulk.running.judging import judged_items
from heartlevel.bulk.running.problems import InputProblem, input_problems, unreadable_problem
from heartlevel.bulk.running.results import Item
from heartlevel.tables.meanings import Mapped

NAME = "table"  # what the input is called where problems name it


def table_answers(table: bytes, rules: Rules, zone: str | None, form: TableFormat = CSV) -> dict[str, Any]:
    """Assess a table, a reading a row; returns `answers`, and `problems` by line and column.

    `zone` is the time zone of times without an offset. Raises WrongCall where columns are not understood.
    """
    fixed = {"options.time_zone": zone} if zone else {}
    with TemporaryDirectory(prefix="heartlevel-") as folder:
        kept = Path(folder) / NAME
        kept.write_bytes(table)
        mapped = Mapped(fixed=fixed, form=rules.ruleset.choices.form)
        plan = Job(rules, inputs := bulk_inputs([Input(NAME, form, kept)], mapped), NDJSON).plan()
        parts = [judged_items(plan, part) for part in parts_of(inputs, Path(folder), Meter(None))]
    lines = [line for groups, _ in parts for line in NDJSON.write(groups, rules, plan.names)[0].splitlines()]
    problems = [fault for _, items in parts for number in sorted(items) for fault in _problems(items[number])]
    problems.sort(key=lambda fault: (fault["line"], fault["column"] or ""))
    return {"answers": [orjson.loads(line) for line in lines], "problems": problems}


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
