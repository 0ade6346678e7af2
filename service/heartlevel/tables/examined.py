"""Rows of whole subjects examined by columns: about whom nothing is doubtful, and the rows of all others.

The others are read as requests, by which everything that is wrong is named.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.bluetooth.expanding import PAYLOAD
from heartlevel.intake.request import MOST_READINGS
from heartlevel.tables.cells import Cells, rows_of
from heartlevel.tables.devices import describe_devices
from heartlevel.tables.field_columns import FieldColumn, all_columns, field_columns, first_known
from heartlevel.tables.fields import OPTIONS, REQUIRED, SUBJECT
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.rows import CellOrigin, DecodedRows, SubjectRow, decoded_rows, reading_origins


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """Rows of one table: its number among the inputs, a column of cells for each of its columns, and of each row its
    line, or number, and its subject's number."""  # fmt: skip

    input: int
    cells: Sequence[Cells]
    lines: Ints
    owners: Ints


@dataclass(slots=True)
class Examined:
    """Subjects, and what the fields hold in their rows, which stand in the order of the subjects."""

    subjects: Sequence[str]
    sheets: Sequence[Sheet]
    layouts: Mapping[int, Layout]  # by input
    mapped: Mapped
    columns: dict[str, FieldColumn]
    order: Ints  # of the rows of all sheets, so that those of a subject stand together
    subject_of: Ints
    doubtful: Bools  # by subject: to be read as a request
    starts: Ints = field(init=False)  # of each subject's rows
    inputs: Ints = field(init=False)
    lines: Ints = field(init=False)

    def __post_init__(self) -> None:
        """Find where each row stands in the inputs."""
        self.starts = np.searchsorted(self.subject_of, np.arange(len(self.subjects) + 1))
        numbers, sizes = [sheet.input for sheet in self.sheets], [len(sheet.lines) for sheet in self.sheets]
        self.inputs = np.repeat(np.array(numbers, dtype=np.int64), sizes)[self.order]
        self.lines = np.concatenate([sheet.lines for sheet in self.sheets])[self.order]

    def doubt(self, rows: Ints | Bools) -> None:
        """Mark the subjects of rows."""
        self.doubtful[self.subject_of[rows]] = True

    def first(self, values: Floats) -> Floats:
        """Return, by subject, the first known value of a column."""
        return first_known(self.subject_of, len(self.subjects), values)

    def origins_of(self, subject: int) -> dict[str, CellOrigin]:
        """Return where the parts of a subject's readings stand."""
        origins: dict[str, CellOrigin] = {}
        for number, row in enumerate(range(int(self.starts[subject]), int(self.starts[subject + 1]))):
            at = CellOrigin(int(self.inputs[row]), int(self.lines[row]))
            origins |= reading_origins(number, at, self.layouts[at.input])
        return origins

    def requests_of(self, subjects: Sequence[int]) -> list[DecodedRows]:
        """Return the requests that some subjects' rows make."""
        return [decoded_rows(rows, self.layouts, self.mapped) for rows in self.rows_of(subjects)]

    def rows_of(self, subjects: Sequence[int]) -> list[list[SubjectRow]]:
        """Return all cells of some subjects' rows."""
        of_each = [list[SubjectRow]() for _ in subjects]
        if not of_each:
            return []
        sizes = self.starts[np.array(subjects) + 1] - self.starts[subjects]
        owner = np.repeat(np.arange(len(subjects)), sizes)
        at = np.concatenate([self.order[self.starts[subject] : self.starts[subject + 1]] for subject in subjects])
        before = 0
        for sheet in self.sheets:
            here = (at >= before) & (at < before + len(sheet.lines))
            rows = at[here] - before
            cells = rows_of(sheet.cells, rows)
            for number, line, row in zip(owner[here].tolist(), sheet.lines[rows].tolist(), cells, strict=True):
                of_each[number].append((CellOrigin(sheet.input, line), row))
            before += len(sheet.lines)
        return of_each


def examine(subjects: Sequence[str], sheets: Sequence[Sheet], layouts: Mapping[int, Layout], mapped: Mapped) -> Examined:
    """Look at the cells of all rows and mark the subjects about whom something is doubtful."""
    owners = np.concatenate([sheet.owners for sheet in sheets])
    order = np.argsort(owners, kind="stable")
    tables = [field_columns(sheet.cells, layouts[sheet.input].meanings, mapped) for sheet in sheets]
    columns = all_columns(tables, [len(sheet.lines) for sheet in sheets])
    if (order[1:] < order[:-1]).any():
        columns = {name: column.at(order) for name, column in columns.items()}
    examined = Examined(
        subjects, sheets, layouts, mapped, columns, order, owners[order], np.zeros(len(subjects), dtype=bool)
    )
    mark_doubtful(examined)
    return examined


def mark_doubtful(examined: Examined) -> None:
    """Mark the subjects of rows in which something cannot be read, is missing, or is said otherwise elsewhere."""
    rows = np.zeros(len(examined.subject_of), dtype=bool)
    for name, column in examined.columns.items():
        rows |= column.doubtful
        if name in REQUIRED:
            rows |= np.isnan(column.codes)
        if examined.mapped.fields[name].part in (SUBJECT, OPTIONS):
            values = column.comparable()
            rows |= ~np.isnan(values) & (values != examined.first(values)[examined.subject_of])
    if PAYLOAD in examined.columns:  # bytes are read in requests only
        rows[:] = True
    rows |= describe_devices(examined.columns, examined.mapped.fields, examined.subject_of)
    examined.doubt(rows)
    examined.doubtful |= np.diff(examined.starts) > MOST_READINGS
