"""From a pandas table of readings to tables of what was found; the numbers are those of the service."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from heartlevel.answer.result_tables import COLUMNS_OF, Coded, joined_tables
from heartlevel.assessment import Assessment, Rules, assess_batch, assess_requests, sitting_gaps
from heartlevel.columns import Ints
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.envelope import unclear_details
from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.request import RefusedRequest, Request, TooManyReadings, read, read_options
from heartlevel.one_call import TOGETHER_IN_BULK, answer_to
from heartlevel.tables.batches import clean_batches
from heartlevel.tables.cells import subject_names, taken
from heartlevel.tables.examined import Examined, Sheet, examine
from heartlevel.tables.frame_columns import frame_cells
from heartlevel.tables.meanings import Layout, Mapped, layout_of, missing_columns, repeated_columns, strange_columns
from heartlevel.tables.rows import NO_SUBJECT, ROWS_DIFFER, DecodedRows, decoded_rows

ROW_COLUMNS, OWNER = ("row", "first_row"), "_owner"
OF_REQUESTS_ONLY = ("strict", "explain", "language", "also_under", "population")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a table. Pressures are in mm[Hg] and not rounded; NaN or None is unknown.

    `readings`: a row for each reading that was assessed: `row` (its place in the table, from 0), `subject`, `id`,
    `reliability`, `systolic`, `diastolic`, `mean_arterial`, `pulse_pressure`.
    `findings`: a row for each rule that fired for a subject: `subject`, `rule`, `scope`, `severity`, `urgent`,
    `effect`, `readings` (how many are concerned; 0 for rules about the whole series), `first_row` (−1 for those).
    `averages`: a row for each `subject`, `setting` and `basis` with readings: `readings`, `days`, and for `systolic`,
    `diastolic` and `pulse` each `_mean`, `_sd`, `_mean_of_days`, `_low95`, `_high95`.
    `subjects`: a row a subject: `category` (or the `reason` for none), its `setting`, pressures and whether it
    `holds`, `pattern`, `urgent`, and the coverage (`home_days` and so on).
    `problems`: what could not be read: `row` (−1: the whole column), `column` (none: the whole row), `code`, `detail`,
    `hint`.
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


@dataclass(slots=True)
class FrameTable:
    """A table while it is assessed."""

    examined: Examined
    layout: Layout
    mapped: Mapped
    unclear: frozenset[str]  # what a column that is not understood may have told of everybody, as `Request.unclear`
    problems: list[TableProblem]

    def note(self, decoded: DecodedRows, problems: Sequence[Problem]) -> None:
        """Keep what is wrong with a request, at the cells that it comes from."""
        for fault in problems:
            if origin := decoded.origin_of(fault.pointer):
                self.problems.append(TableProblem(origin.line, origin.column, fault.code, fault.detail, fault.hint))
        self.problems += [TableProblem(cell.line, cell.column, *ROWS_DIFFER) for cell in decoded.differing]


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
    table = examined_frame(frame, Mapped(fixed={f"options.{name}": value for name, value in chosen.items()}))
    parts = [_parts(table.examined, *assessed) for assessed in _assessed(table, rules)]
    frames = {name: _frame(_in_order(joined_tables([part[name] for part in parts]))) for name in COLUMNS_OF}
    return Result(**frames, problems=_problems(table))


def examined_frame(frame: pd.DataFrame, mapped: Mapped) -> FrameTable:
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
    meaning = layout.meanings[layout.subject]
    assert meaning is not None
    owners, subjects = subject_names(cells[layout.subject], meaning)
    rows = np.flatnonzero(owners >= 0)
    sheet = Sheet(0, [taken(column, rows) for column in cells], rows, owners[rows])
    problems = [TableProblem(-1, fault.pointer[1:], fault.code, fault.detail, fault.hint) for fault in unknown]
    nobody = np.flatnonzero(owners < 0).tolist()
    problems += [TableProblem(row, names[layout.subject], *NO_SUBJECT) for row in nobody]
    unclear = unclear_details((fault for fault in unknown if fault.pointer.startswith("/subject.")), "/subject.")
    return FrameTable(examine(subjects, [sheet], {0: layout}, mapped), layout, mapped, unclear, problems)


def _assessed(table: FrameTable, rules: Rules) -> Iterator[tuple[Assessment, Ints]]:
    """Yield assessments, each with the numbers of its subjects; at least one, if of nobody."""
    gaps = partial(sitting_gaps, rules=rules)
    for clean in clean_batches(table.examined, rules.ruleset.choices, gaps, table.unclear):
        yield assess_batch(clean.batch, rules), clean.subjects
    doubtful = np.flatnonzero(table.examined.doubtful)
    for start in range(0, len(doubtful) or 1, TOGETHER_IN_BULK):
        yield _by_request(table, rules, doubtful[start : start + TOGETHER_IN_BULK])


def _by_request(table: FrameTable, rules: Rules, subjects: Ints) -> tuple[Assessment, Ints]:
    """Assess subjects about whom something is doubtful, and note what."""
    requests, numbers = list[Request](), list[int]()
    for subject, rows in zip(subjects.tolist(), table.examined.rows_of(subjects.tolist()), strict=True):
        decoded = decoded_rows(rows, {0: table.layout}, table.mapped)
        request, problems = _read(decoded, rules)
        table.note(decoded, problems)
        if request is not None:
            request.unclear |= table.unclear
            requests.append(request)
            numbers.append(subject)
    return assess_requests(requests, rules), np.array(numbers, dtype=np.int64)


def _read(decoded: DecodedRows, rules: Rules) -> tuple[Request | None, Sequence[Problem]]:
    """Return the request, unless it cannot be assessed, and what is wrong with it."""
    try:
        request = read(decoded.request, rules.ruleset.choices)
        if request.strict:  # refused for what shows only in its answer, too
            answer_to(decoded.request, rules)
        return request, request.problems
    except RefusedRequest as refused:
        return None, refused.problems
    except TooManyReadings as error:
        return None, [Problem("", "too-many-readings", str(error))]


def _parts(examined: Examined, assessment: Assessment, subjects: Ints) -> dict[str, dict[str, Any]]:
    """Return the rows of each result table, with the number of each row's subject; rows are those of the frame."""
    parts, conclusions = {}, conclude(assessment)
    for name, columns_of in COLUMNS_OF.items():
        columns = columns_of(conclusions)
        subject = columns["subject"]
        owner = subjects[subject.codes if isinstance(subject, Coded) else np.arange(len(subject))]
        for row in ROW_COLUMNS:
            if row in columns:
                at = examined.starts[owner] + np.maximum(columns[row], 0)
                columns[row] = np.where(columns[row] >= 0, examined.lines[at], -1)
        parts[name] = columns | {OWNER: owner}
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


def _problems(table: FrameTable) -> pd.DataFrame:
    in_order = sorted(set(table.problems), key=lambda fault: (fault.row, fault.column or "", fault.code))
    names = [column.name for column in fields(TableProblem)]
    return pd.DataFrame([[getattr(fault, name) for name in names] for fault in in_order], columns=names)
