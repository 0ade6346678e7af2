"""A pandas table of readings assessed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from heartlevel.answer.result_columns.coded import joined_tables, owners_in
from heartlevel.answer.result_tables import COLUMNS_OF
from heartlevel.assessment import Rules
from heartlevel.columns import Ints
from heartlevel.frames.asked import OF_REQUESTS_ONLY, ColumnMap, UnusableTable, check_columns, check_times, mapped_as_asked
from heartlevel.frames.result import Result
from heartlevel.frames.wording import worded_columns
from heartlevel.intake.envelope import unclear_details
from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.request import RefusedRequest, read_options
from heartlevel.legible import legible_urgencies
from heartlevel.located import AssessedSubjects, Judged, judge_examined, nobody, origin_in
from heartlevel.tables.arrow.frame_columns import frame_cells
from heartlevel.tables.cells import distinct, plain_value, subject_names, taken
from heartlevel.tables.examined import Examined, Sheet, examine
from heartlevel.tables.meanings import Mapped, layout_of, strange_columns
from heartlevel.tables.rows import NO_SUBJECT, ROWS_DIFFER, DecodedRows, rows_alone
from heartlevel.tables.written_times import MOST_TIMES

ROW_COLUMNS, OWNER = ("row", "first_row"), "_owner"
BEFORE_DETAILS = "subject."  # before the names of columns that tell of the person


@dataclass(frozen=True, slots=True)
class TableProblem:
    """Something in a table that could not be read. `row` is counted from 0; −1 concerns the whole column."""

    row: int
    column: str | None
    code: str
    detail: str
    hint: str | None = None
    urgency: str | None = None  # the level of what is legible where there is no answer


@dataclass(frozen=True, slots=True)
class FrameTable:
    """A table to be assessed."""

    examined: Examined
    unclear: frozenset[str]  # what a column that is not understood may have told of everybody, as `Request.unclear`
    problems: Sequence[TableProblem]  # found so far


def assess_frame(
    frame: pd.DataFrame, rules: Rules, options: Mapping[str, Any] | None = None, column_map: ColumnMap | None = None
) -> Result:
    """Assess a table of one row a reading; each subject's result is as if it had come alone to the service.

    Columns are named like the fields of the request: `subject` (its id), `taken_at`, `systolic`, `diastolic`,
    `setting` are required; nested ones are dotted (`technique.back_supported`, `cuff.arm_min_cm`,
    `device.method`, `subject.age_years`, `options.time_zone`). `column_map` says what columns of other names mean, as a
    file of columns does. Cells are read as those of a file: `circumstances` and `subject.avoid_arms` are lists or texts
    in parts, `stress;pain`; a missing or empty cell is not recorded. What any row says of a subject, or of a device of the
    subject, holds for all of them: the first row that says it counts, and those that say otherwise are named in
    `problems`. A detail that cannot be read counts as not recorded, as in a request. `options` are those of the request,
    for all rows that say nothing else, but for OF_REQUESTS_ONLY; with a `language` there are words too.

    Raises UnusableTable, a RefusedRequest, where a required column is missing, one is there twice, or an option or the
    map is at fault.
    """
    chosen = {name: value for name, value in (options or {}).items() if value is not None}
    chosen = {name: plain_value(value) if isinstance(value, date) else value for name, value in chosen.items()}
    not_here = [name for name in OF_REQUESTS_ONLY if name in (options or {})]
    if not_here:
        raise UnusableTable([problem(f"/{name}", "unknown-key") for name in not_here])
    choices = rules.ruleset.choices
    try:
        read_options(chosen, choices)
    except RefusedRequest as refused:
        raise UnusableTable(refused.problems) from None
    mapped = mapped_as_asked(column_map or {}, [str(name) for name in frame.columns], chosen, choices.form)
    table = examined_frame(frame, mapped, rules)
    groups, results = judge_examined(table.examined, rules, table.unclear)
    parts = [_parts(group, "language" in chosen) for group in groups or [nobody(rules)]]
    frames = {name: _frame(_in_order(joined_tables([part[name] for part in parts]))) for name in COLUMNS_OF}
    problems = {*table.problems, *(fault for judged in results.values() for fault in _problems_of(judged))}
    in_order = sorted(problems, key=lambda fault: (fault.row, fault.column or "", fault.code))
    return Result(**frames, problems=pd.DataFrame(in_order, columns=[column.name for column in fields(TableProblem)]))


def examined_frame(frame: pd.DataFrame, mapped: Mapped, rules: Rules) -> FrameTable:
    """Examine a frame. Raises UnusableTable where a required column is missing or there twice, or times are otherwise."""
    names = [str(name) for name in frame.columns]
    check_columns(names, mapped)
    strange = dict(strange_columns(names, mapped))
    unknown = [problem(f"/{name}", "unknown-key", hint=hint) for name, hint in strange.items()]
    layout, cells = layout_of(names, mapped), frame_cells(frame)
    check_times([taken(column, np.arange(min(len(column), MOST_TIMES))) for column in cells], layout, mapped)
    owners, subjects = subject_names(cells, layout)
    rows = np.flatnonzero(owners >= 0)
    sheet = Sheet(0, [taken(column, rows) for column in cells], rows, owners[rows])
    problems = [TableProblem(-1, fault.pointer[1:], fault.code, fault.detail, fault.hint) for fault in unknown]
    nobody = np.flatnonzero(owners < 0)
    problems += _of_nobody(nobody, names[layout.subject], rows_alone(cells, nobody, layout, mapped), rules)
    of_subject = [fault for fault in unknown if fault.pointer.startswith(f"/{BEFORE_DETAILS}")]
    values = {name.removeprefix(BEFORE_DETAILS): distinct(cells[names.index(name)])[1] for name in strange}
    unclear = unclear_details(of_subject, values, rules.ruleset.choices.form.subject.fields, f"/{BEFORE_DETAILS}")
    return FrameTable(examine(subjects, [sheet], {0: layout}, mapped), unclear, problems)


def _of_nobody(rows: Ints, column: str, requests: Sequence[object], rules: Rules) -> Iterator[TableProblem]:
    """Yield the rows that name no subject, with how urgent is what is legible of each."""
    for row, urgency in zip(rows.tolist(), legible_urgencies(requests, rules), strict=True):
        yield TableProblem(row, column, *NO_SUBJECT, None, urgency["level"])


def _problems_of(judged: Judged) -> Iterator[TableProblem]:
    """Yield what is wrong with a subject's rows; slips of entry are findings alone, unless there is no answer."""
    refused, sent = judged.refused, judged.sent
    whole = [Problem("", refused.code, refused.detail)] if refused else []
    level = refused.urgency["level"] if refused and refused.urgency else None
    for fault in judged.problems or whole:
        if fault.detail:
            origin = origin_in(sent, fault.pointer)
            yield TableProblem(origin.line, origin.column, fault.code, fault.detail, fault.hint, level)
    if isinstance(sent, DecodedRows):
        yield from (TableProblem(cell.line, cell.column, *ROWS_DIFFER) for cell in sent.differing)


def _parts(group: AssessedSubjects, worded: bool) -> dict[str, dict[str, Any]]:
    """Return the rows of each result table, with the number of each row's subject; rows are those of the frame."""
    parts, words = {}, worded_columns(group.conclusions) if worded else {}
    for name, columns_of in COLUMNS_OF.items():
        columns = columns_of(group.conclusions) | words.get(name, {})
        owner = owners_in(columns)
        for row in ROW_COLUMNS:
            if row in columns:
                at = group.starts[owner] + np.maximum(columns[row], 0)
                columns[row] = np.where(columns[row] >= 0, group.lines[at], -1)
        parts[name] = columns | {OWNER: group.numbers[owner]}
    return parts


def _in_order(columns: dict[str, Any]) -> dict[str, Any]:
    """Put rows in the order in which their subjects first appear, and leave out whose they are."""
    owner = columns.pop(OWNER)
    if bool((owner[1:] >= owner[:-1]).all()):
        return columns
    order = np.argsort(owner, kind="stable")
    return {name: values[order] for name, values in columns.items()}


def _frame(columns: Mapping[str, Any]) -> pd.DataFrame:
    # pandas would look at every text to choose a type for its column. The columns are nobody else's: none is copied.
    return pd.DataFrame(
        {name: pd.Series(values, dtype=values.dtype, copy=False) for name, values in columns.items()}, copy=False
    )
