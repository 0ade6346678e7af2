"""A table of readings in, columns out: what could be understood, and a problem for each cell that could not.

Every column is looked at in one go; only rows with something doubtful are read one by one, by the same
declarations as a request.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from marshmallow import ValidationError, fields
from pandas.api.types import infer_dtype

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.columnwise import Column, as_sent, column_of
from heartlevel.intake.envelope import LIMITS_BY, mark_unread_items, unclear_details
from heartlevel.intake.faults import Problem, from_messages, problem
from heartlevel.intake.fields import Flag, Number, messages
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
    said_in_text,
)
from heartlevel.intake.written_times import as_texts

LISTS_OF = {READING: "readings", DEVICE: "devices"}
OF_SUBJECT = f"/{SUBJECT}."
SOME_DEVICE = {"id": "the row's"}
SUBJECT_BLOCK = Subject()
DIFFERS = "rows-differ", "an earlier row of this subject says otherwise; the earlier one was taken"


@dataclass(slots=True)
class Cells:
    """A table looked at: columns by name, a row each a reading; `kept` marks what can be assessed."""

    frame: pd.DataFrame | None  # None where what is doubtful is read elsewhere
    columns: dict[str, Column]
    kept: Bools
    subjects: list[str] = field(default_factory=list)  # in order of first appearance
    subject_of: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # −1 where unreadable
    refused: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))  # by subject: left out
    unclear: dict[int, frozenset[str]] = field(default_factory=dict)  # by subject, as `Request.unclear`
    problems: list[CellProblem] = field(default_factory=list)

    def note(self, row: int, of: str, problems: Sequence[Problem]) -> None:
        """Keep problems of a row's object, at the columns they are about."""
        self.problems += [CellProblem(row, column_at(of, one.pointer), one.code, one.detail, one.hint) for one in problems]

    def objects(self, of: str, rows: Ints) -> list[dict[str, Any]]:
        """Return rows as the objects of a request would be, unchecked."""
        assert self.frame is not None
        names = [name for name in self.columns if PLACES[name].of == of]
        parts = [[as_sent(one, PLACES[name].field) for one in self.frame[name].iloc[rows].tolist()] for name in names]
        return [nested(dict(zip(names, row, strict=True))) for row in zip(*parts, strict=True)] or [{} for _ in rows]


def cells_of(frame: pd.DataFrame) -> Cells:
    """Look at every cell. Raises RefusedRequest where a required column is missing or a name is there twice."""
    known, problems = _known_columns(frame)
    columns = {str(name): column_of(known[name], PLACES[str(name)].field) for name in known}
    cells = Cells(known, columns, np.ones(len(frame), dtype=bool), problems=problems)
    faults = _look_again(cells)
    values = pd.Series(columns[SUBJECT].values(), dtype=object)
    places, names = pd.factorize(values)
    cells.subject_of, cells.subjects = places.astype(np.int64), list(names)
    cells.refused = np.zeros(len(names), dtype=bool)
    unknown = [Problem(f"/{one.column}", one.code, "") for one in problems]
    strangers = unclear_details((one for one in unknown if one.pointer.startswith(OF_SUBJECT)), OF_SUBJECT)
    cells.unclear = dict.fromkeys(range(len(names)), strangers) if strangers else {}
    _settle(cells, faults)
    cells.kept &= places >= 0
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
    texts = {str(name): _from_texts(known[name], PLACES[str(name)].field) for name in known}
    known = known.assign(**{name: column for name, column in texts.items() if column is not None})
    return known, [CellProblem(-1, name, one.code, one.detail, one.hint) for name, one in unknown]


def _from_texts(column: "pd.Series[Any]", field: fields.Field[Any]) -> "pd.Series[Any] | None":
    """Return numbers and truths that stand there as texts, as they do where one word makes texts of a whole column."""
    if not isinstance(field, (Number, Flag)) or infer_dtype(column, skipna=True) != "string":
        return None
    places, distinct = pd.factorize(column)
    said = [*(said_in_text(one, field) for one in distinct), None]
    return pd.Series([said[place] for place in places.tolist()], dtype=object)


def _look_again(cells: Cells) -> dict[tuple[int, str], Problem]:
    """Read doubtful rows by marshmallow; return what is at fault in subjects' columns, by row and column."""
    for of in (READING, DEVICE):
        rows = _doubtful(cells, of)
        for row, item in zip(rows.tolist(), cells.objects(of, rows), strict=True):
            found, problems = read_item(SOME_DEVICE | item if of == DEVICE else item, LISTS_OF[of], "")
            cells.note(row, of, problems)
            if found is None:
                cells.kept[row] = False
            _put(cells, of, row, found or {})
    rows, faults = _doubtful(cells, SUBJECT), dict[tuple[int, str], Problem]()
    for row, item in zip(rows.tolist(), cells.objects(SUBJECT, rows), strict=True):
        found, problems = _subject(item)
        faults |= {(row, column_at(SUBJECT, one.pointer)): one for one in problems}
        _put(cells, SUBJECT, row, found)
    return faults


def _subject(item: dict[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    try:
        return dict(SUBJECT_BLOCK.load(item)), []
    except ValidationError as error:
        valid, faults = error.valid_data if isinstance(error.valid_data, dict) else {}, messages(error)
    return mark_unread_items(valid, faults), list(from_messages(faults, SUBJECT_BLOCK, item, ""))


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


def _settle(cells: Cells, faults: Mapping[tuple[int, str], Problem]) -> None:
    """What an earlier row says of a subject counts; later ones that say otherwise are named.

    Where it is the earlier one that cannot be read, the detail counts as not recorded.
    """
    for name, column in cells.columns.items():
        if PLACES[name].of != SUBJECT:
            continue
        values = column.comparable()
        faulty = np.zeros(len(values), dtype=bool)
        faulty[[row for row, of in faults if of == name]] = True
        said = np.where(faulty & np.isnan(values), np.inf, values)  # infinity: something that cannot be read
        first = first_of_subject(cells.subject_of, len(cells.subjects), said)
        of_row = np.append(first, np.nan)[cells.subject_of]
        differs = ~np.isnan(said) & (cells.subject_of >= 0) & (said != of_row)
        for row in np.flatnonzero(faulty & ~differs).tolist():
            cells.note(row, SUBJECT, [faults[row, name]])
        cells.problems += [CellProblem(row, name, *DIFFERS) for row in np.flatnonzero(differs).tolist()]
        column.codes[differs | np.isinf(of_row)] = np.nan
        if (detail := PLACES[name].path[0]) in LIMITS_BY:
            for subject in np.flatnonzero(np.isinf(first)).tolist():
                cells.unclear[subject] = cells.unclear.get(subject, frozenset()) | {detail}


def first_of_subject(subject_of: Ints, subjects: int, values: Floats) -> Floats:
    """Return each subject's first known value of a column; −1 is no subject."""
    rows = np.flatnonzero(~np.isnan(values) & (subject_of >= 0))[::-1]
    first = np.full(subjects, np.nan)
    first[subject_of[rows]] = values[rows]  # the last one written is the first
    return first
