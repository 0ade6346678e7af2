"""A table of readings in, columns out: what could be understood, and a problem for each cell that could not.

Every column is looked at in one go; only rows with something doubtful are read one by one, by the same
declarations as a request.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from marshmallow import ValidationError

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.columnwise import Column, as_sent, column_of
from heartlevel.intake.faults import Problem, from_messages, problem
from heartlevel.intake.fields import messages
from heartlevel.intake.request import RefusedRequest, read_item
from heartlevel.intake.schema import Subject
from heartlevel.intake.table_columns import (
    DEVICE,
    PLACES,
    READING,
    REQUIRED,
    SUBJECT,
    CellProblem,
    column_at,
    inside,
    likely,
    nested,
)
from heartlevel.intake.written_times import as_texts

LISTS_OF = {READING: "readings", DEVICE: "devices"}
SOME_DEVICE = {"id": "the row's"}
SUBJECT_BLOCK = Subject()


@dataclass(slots=True)
class Cells:
    """A table looked at: columns by name, a row each a reading; `kept` marks what can be assessed."""

    frame: pd.DataFrame
    columns: dict[str, Column]
    kept: Bools
    subjects: list[str] = field(default_factory=list)  # in order of first appearance
    subject_of: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # −1 where unreadable
    refused: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))  # by subject
    problems: list[CellProblem] = field(default_factory=list)

    def note(self, row: int, of: str, problems: Sequence[Problem]) -> None:
        """Keep problems of a row's object, at the columns they are about."""
        self.problems += [CellProblem(row, column_at(of, one.pointer), one.code, one.detail, one.hint) for one in problems]

    def objects(self, of: str, rows: Ints) -> list[dict[str, Any]]:
        """Return rows as the objects of a request would be, unchecked."""
        names = [name for name in self.columns if PLACES[name].of == of]
        parts = [[as_sent(one, PLACES[name].field) for one in self.frame[name].iloc[rows].tolist()] for name in names]
        return [nested(dict(zip(names, row, strict=True))) for row in zip(*parts, strict=True)] or [{} for _ in rows]


def cells_of(frame: pd.DataFrame) -> Cells:
    """Look at every cell. Raises RefusedRequest where a required column is missing or a name is there twice."""
    known, problems = _known_columns(frame)
    columns = {str(name): column_of(known[name], PLACES[str(name)].field) for name in known}
    cells = Cells(known, columns, np.ones(len(frame), dtype=bool), problems=problems)
    faulty = _look_again(cells)
    values = pd.Series(columns[SUBJECT].values(), dtype=object)
    places, names = pd.factorize(values)
    cells.subject_of, cells.subjects = places.astype(np.int64), list(names)
    cells.refused = np.zeros(len(names), dtype=bool)
    cells.refused[places[faulty & (places >= 0)]] = True
    _refuse_contradictions(cells)
    cells.kept &= (places >= 0) & ~np.append(cells.refused, True)[places]
    return cells


def _known_columns(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[CellProblem]]:
    twice = sorted({str(name) for name in frame.columns[frame.columns.duplicated()]})
    faults = [problem(f"/{name}", "id-repeated", name) for name in twice]
    faults += [problem(f"/{name}", "missing", expected="a column") for name in REQUIRED if name not in frame.columns]
    if faults:
        raise RefusedRequest(faults)
    strange = [name for name in frame.columns if name not in PLACES]
    unknown = [(str(name), problem("", "unknown-key", hint=likely(name))) for name in strange]
    known = frame[[name for name in frame.columns if name in PLACES]].reset_index(drop=True)
    if isinstance(known["taken_at"].dtype, pd.DatetimeTZDtype) or known["taken_at"].dtype.kind == "M":
        known = known.assign(taken_at=pd.Series(as_texts(known["taken_at"]), dtype=object))
    return known, [CellProblem(-1, name, one.code, one.detail, one.hint) for name, one in unknown]


def _look_again(cells: Cells) -> Bools:
    """Read doubtful rows by marshmallow; return where something of the subject is at fault."""
    for of in (READING, DEVICE):
        rows = _doubtful(cells, of)
        for row, item in zip(rows.tolist(), cells.objects(of, rows), strict=True):
            found, problems = read_item(SOME_DEVICE | item if of == DEVICE else item, LISTS_OF[of], "")
            cells.note(row, of, problems)
            if found is None:
                cells.kept[row] = False
            _put(cells, of, row, found or {})
    rows = _doubtful(cells, SUBJECT)
    faulty = np.zeros(len(cells.kept), dtype=bool)
    for row, item in zip(rows.tolist(), cells.objects(SUBJECT, rows), strict=True):
        found, problems = _subject(item)
        cells.note(row, SUBJECT, problems)
        faulty[row] = bool(problems)
        _put(cells, SUBJECT, row, found)
    return faulty


def _subject(item: dict[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    try:
        return dict(SUBJECT_BLOCK.load(item)), []
    except ValidationError as error:
        valid = error.valid_data if isinstance(error.valid_data, dict) else {}
        return valid, list(from_messages(messages(error), SUBJECT_BLOCK, item, ""))


def _doubtful(cells: Cells, of: str) -> Ints:
    marked = np.zeros(len(cells.kept), dtype=bool)
    for name, column in cells.columns.items():
        if PLACES[name].of == of:
            marked |= column.doubtful
    return np.flatnonzero(marked)


def _put(cells: Cells, of: str, row: int, found: Mapping[str, Any]) -> None:
    for name, column in cells.columns.items():
        if PLACES[name].of == of:
            column.put(row, inside(found, PLACES[name].path))


def _refuse_contradictions(cells: Cells) -> None:
    """Refuse subjects of whom one column says different things: which was meant cannot be known."""
    for name, column in cells.columns.items():
        if PLACES[name].of == SUBJECT and name != SUBJECT:
            values = _comparable(column)
            first = first_of_subject(cells, values)
            owner = np.where(cells.subject_of < 0, len(cells.subjects), cells.subject_of)
            differs = ~np.isnan(values) & (values != np.append(first, np.nan)[owner]) & (cells.subject_of >= 0)
            detail = "differs from an earlier row of the same subject; the subject is not assessed"
            cells.problems += [CellProblem(row, name, "contradiction", detail) for row in np.flatnonzero(differs).tolist()]
            cells.refused[cells.subject_of[differs]] = True


def _comparable(column: Column) -> Floats:
    """Return the column so that equal things have equal numbers."""
    if column.held is None:
        return column.codes
    number: dict[tuple[str, ...], float] = {}
    return column.looked_up([number.setdefault(tuple(sorted(one or ())), float(len(number))) for one in column.held])


def first_of_subject(cells: Cells, values: Floats) -> Floats:
    """Return each subject's first known value of a column."""
    rows = np.flatnonzero(~np.isnan(values) & (cells.subject_of >= 0))[::-1]
    first = np.full(len(cells.subjects), np.nan)
    first[cells.subject_of[rows]] = values[rows]  # the last one written is the first
    return first


