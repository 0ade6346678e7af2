"""From a pandas table of readings to tables of what was found; the numbers are those of the service."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from heartlevel.answer.result_tables import COLUMNS_OF, joined_tables, owners_in
from heartlevel.assessment import Rules
from heartlevel.columns import Ints
from heartlevel.intake.envelope import unclear_details
from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.request import RefusedRequest, read_options
from heartlevel.legible import legible_urgencies
from heartlevel.located import AssessedSubjects, Judged, judge_examined, nobody, origin_in
from heartlevel.tables.cells import subject_names, taken
from heartlevel.tables.examined import Examined, Sheet, examine
from heartlevel.tables.frame_columns import frame_cells
from heartlevel.tables.meanings import Mapped, layout_of, missing_columns, repeated_columns, strange_columns
from heartlevel.tables.rows import NO_SUBJECT, ROWS_DIFFER, DecodedRows, rows_alone

ROW_COLUMNS, OWNER = ("row", "first_row"), "_owner"
OF_REQUESTS_ONLY = ("strict", "explain", "language", "also_under", "population")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a table. Pressures are in mm[Hg] and not rounded; NaN or None is unknown.

    `readings`: a row for each reading that was assessed: `row` (its place in the table, from 0), `subject`, `id`,
    `reliability`, `systolic`, `diastolic`, `mean_arterial`, `pulse_pressure`.
    `findings`: a row for each rule that fired for a subject: `subject`, `rule`, `scope`, `severity`, `urgent`, `urgency`
    (its level), `effect`, `readings` (how many are concerned; 0 for rules about the whole series), `first_row` (−1 for
    those).
    `averages`: a row for each `subject`, `setting` and `basis` with readings: `readings`, `days`, and for `systolic`,
    `diastolic` and `pulse` each `_mean`, `_sd`, `_mean_of_days`, `_low95`, `_high95`.
    `subjects`: a row a subject: `category` (or the `reason` for none), its `setting`, pressures and whether it
    `holds`, `pattern`, `urgent`, `urgency`, the coverage (`home_days` and so on), and readings received, assessed and lost.
    `problems`: what could not be read: `row` (−1: the whole column), `column` (none: the whole row), `code`, `detail`,
    `hint`, and where there is no answer the `urgency` of what is legible.
    """

    readings: pd.DataFrame
    findings: pd.DataFrame
    averages: pd.DataFrame
    subjects: pd.DataFrame
    problems: pd.DataFrame


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


def assess_frame(frame: pd.DataFrame, rules: Rules, options: Mapping[str, Any] | None = None) -> Result:
    """Assess a table of one row a reading; each subject's result is as if it had come alone to the service.

    Columns are named like the fields of the request: `subject` (its id), `taken_at`, `systolic`, `diastolic`,
    `setting` are required; nested ones are dotted (`technique.back_supported`, `cuff.arm_min_cm`,
    `device.method`, `subject.age_years`, `options.time_zone`). Cells are read as those of a file: `circumstances` and
    `subject.avoid_arms` are lists or texts in parts, `stress;pain`; a missing or empty cell is not recorded. What any
    row says of a subject, or of a device of the subject, holds for all of them: the first row that says it counts, and
    those that say otherwise are named in `problems`. A detail that cannot be read counts as not recorded, as in a
    request. `options` are those of the request, for all rows that say nothing else, but for `strict`, `explain`,
    `language`, `also_under` and `population`, which are about what a table does not show.

    Raises RefusedRequest where a required column is missing, one is there twice, or an option is at fault.
    """
    chosen = dict(options or {})
    not_here = [name for name in OF_REQUESTS_ONLY if name in chosen]
    if not_here:
        raise RefusedRequest([problem(f"/{name}", "unknown-key") for name in not_here])
    read_options(chosen, rules.ruleset.choices)
    fixed = {f"options.{name}": value for name, value in chosen.items()}
    table = examined_frame(frame, Mapped(fixed=fixed, form=rules.ruleset.choices.form), rules)
    groups, results = judge_examined(table.examined, rules, table.unclear)
    parts = [_parts(group) for group in groups or [nobody(rules)]]
    frames = {name: _frame(_in_order(joined_tables([part[name] for part in parts]))) for name in COLUMNS_OF}
    problems = {*table.problems, *(fault for judged in results.values() for fault in _problems_of(judged))}
    in_order = sorted(problems, key=lambda fault: (fault.row, fault.column or "", fault.code))
    return Result(**frames, problems=pd.DataFrame(in_order, columns=[column.name for column in fields(TableProblem)]))


def examined_frame(frame: pd.DataFrame, mapped: Mapped, rules: Rules) -> FrameTable:
    """Examine a frame. Raises RefusedRequest where a required column is missing or a name is there twice."""
    names = [str(name) for name in frame.columns]
    twice = {name for name in names if names.count(name) > 1} | set(repeated_columns(names, mapped))
    faults = [problem(f"/{name}", "id-repeated", name) for name in sorted(twice)]
    faults += [problem(f"/{name}", "missing", expected="a column") for name in missing_columns(names, mapped)]
    if faults:
        raise RefusedRequest(faults)
    strange = dict(strange_columns(names, mapped))
    unknown = [problem(f"/{name}", "unknown-key", hint=hint) for name, hint in strange.items()]
    layout, cells = layout_of(names, mapped), frame_cells(frame)
    owners, subjects = subject_names(cells, layout)
    rows = np.flatnonzero(owners >= 0)
    sheet = Sheet(0, [taken(column, rows) for column in cells], rows, owners[rows])
    problems = [TableProblem(-1, fault.pointer[1:], fault.code, fault.detail, fault.hint) for fault in unknown]
    nobody = np.flatnonzero(owners < 0)
    problems += _of_nobody(nobody, names[layout.subject], rows_alone(cells, nobody, layout, mapped), rules)
    of_subject = (fault for fault in unknown if fault.pointer.startswith("/subject."))
    unclear = unclear_details(of_subject, rules.ruleset.choices.form.subject.fields, "/subject.")
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


def _parts(group: AssessedSubjects) -> dict[str, dict[str, Any]]:
    """Return the rows of each result table, with the number of each row's subject; rows are those of the frame."""
    parts = {}
    for name, columns_of in COLUMNS_OF.items():
        columns = columns_of(group.conclusions)
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
    # pandas would look at every text to choose a type for its column.
    return pd.DataFrame({name: pd.Series(values, dtype=values.dtype) for name, values in columns.items()})
