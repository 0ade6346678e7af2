"""Rows of whole subjects, a sheet of cells for each table they come from; as bytes they go to other processes."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pyarrow

from heartlevel.columns import Ints, rank_within, stretches
from heartlevel.intake.request import MOST_READINGS
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy
from heartlevel.tables.cells import plain_cells
from heartlevel.tables.examined import Sheet

# Beside the cells of a row: its line, the name of its subject, and, in a sheet, that name's number among the subjects.
LINE, SUBJECT, OWNER = "line", "subject", "owner"
# One row more than a request may hold is kept, so that too many are refused as such; the others are let go.
MOST_ROWS = MOST_READINGS + 1

Other = TypeVar("Other")


@dataclass(frozen=True, slots=True)
class NamedRows:
    """Rows of one input whose subjects are known: columns of cells, their lines and subjects."""

    input: int
    rows: pyarrow.RecordBatch


@dataclass(frozen=True, slots=True)
class Sheets:
    """All rows of some subjects, in the order in which they first appear; the rows of each stand together."""

    subjects: list[str]
    by_input: list[tuple[int, pyarrow.RecordBatch]]

    def counts(self) -> Ints:
        """Return how many rows each subject has."""
        owners = [owners_of(rows) for _, rows in self.by_input]
        return np.bincount(np.concatenate(owners), minlength=len(self.subjects))

    def part(self, first: int, last: int) -> "Sheets":
        """Return the subjects from number `first` to before number `last`."""
        by_input = []
        for number, rows in self.by_input:
            start, end = np.searchsorted(owners_of(rows), [first, last]).tolist()
            if end > start:
                by_input.append((number, _with_owners(rows[start:end], owners_of(rows)[start:end] - first)))
        return Sheets(self.subjects[first:last], by_input)


def owners_of(rows: pyarrow.RecordBatch) -> Ints:
    """Return the number of each row's subject among the subjects."""
    return as_numpy(rows.column(OWNER))


def lines_of(rows: pyarrow.RecordBatch) -> Ints:
    """Return the line of each row."""
    return as_numpy(rows.column(LINE))


def sheet_from(number: int, content: bytes) -> Sheet:
    """Return the rows of an input as they are examined."""
    rows = from_bytes(content)
    columns = [rows.column(at) for at, name in enumerate(rows.schema.names) if name not in (LINE, SUBJECT, OWNER)]
    return Sheet(number, [plain_cells(column) for column in columns], lines_of(rows), owners_of(rows))


def name_rows(number: int, cells: Sequence[pyarrow.Array], lines: Ints, subjects: pyarrow.Array) -> NamedRows:
    """Put the rows of a chunk together with the names of their subjects; rows of nobody are left out."""
    names = [str(column) for column in range(len(cells))]
    columns = [*cells, as_arrow(lines), subjects]
    rows = pyarrow.RecordBatch.from_arrays(columns, names=[*names, LINE, SUBJECT])
    return NamedRows(number, rows.filter(subjects.is_valid()) if subjects.null_count else rows)


def sheets_of(rows_of_inputs: Iterable[NamedRows]) -> Sheets:
    """Bring the rows of each subject together. Rows of a subject beyond those a request may hold are left out."""
    by_input = joined_by_input((named.input, named.rows) for named in rows_of_inputs)
    names = pyarrow.chunked_array([rows.column(SUBJECT) for rows in by_input.values()]).combine_chunks().dictionary_encode()
    owners: Ints = as_numpy(names.indices).astype(np.int64)
    kept = rank_within(owners, len(names.dictionary)) < MOST_ROWS
    sheets, start = [], 0
    for number, rows in by_input.items():
        part = slice(start, start + len(rows))
        sheets.append((number, _sorted(rows, owners[part], kept[part])))
        start = part.stop
    return Sheets(names.dictionary.to_pylist(), sheets)


def _sorted(rows: pyarrow.RecordBatch, owners: Ints, kept: Any) -> pyarrow.RecordBatch:
    order = np.argsort(owners, kind="stable")
    order = order[kept[order]]
    in_order = len(order) == len(owners) and bool((owners[1:] >= owners[:-1]).all())
    taken = rows if in_order else rows.take(as_arrow(order))
    return _with_owners(taken.drop_columns([SUBJECT]), owners[order])


def _with_owners(rows: pyarrow.RecordBatch, owners: Ints) -> pyarrow.RecordBatch:
    others = rows.drop_columns([OWNER]) if OWNER in rows.schema.names else rows
    return others.append_column(OWNER, as_arrow(owners))


def as_bytes(rows: pyarrow.RecordBatch) -> bytes:
    """Write rows as bytes."""
    sink = pyarrow.BufferOutputStream()
    with pyarrow.ipc.new_stream(sink, rows.schema) as writer:
        writer.write_batch(rows)
    content: bytes = sink.getvalue().to_pybytes()
    return content


def from_bytes(content: bytes) -> pyarrow.RecordBatch:
    """Read what `as_bytes` wrote."""
    return pyarrow.ipc.open_stream(content).read_next_batch()


def joined_sheets(parts: Sequence[Sheets]) -> Sheets:
    """Put sheets of different subjects one after the other."""
    if len(parts) == 1:
        return parts[0]
    before = np.cumsum([0, *(len(part.subjects) for part in parts)])
    renumbered = ((number, _with_owners(rows, owners_of(rows) + first))
                  for part, first in zip(parts, before, strict=False) for number, rows in part.by_input)  # fmt: skip
    return Sheets([name for part in parts for name in part.subjects], sorted(joined_by_input(renumbered).items()))


def joined_by_input(pieces: Iterable[tuple[int, pyarrow.RecordBatch]]) -> dict[int, pyarrow.RecordBatch]:
    """Put rows of the same input together."""
    by_input: dict[int, list[pyarrow.RecordBatch]] = {}
    for number, rows in pieces:
        by_input.setdefault(number, []).append(rows)
    return {number: pyarrow.concat_batches(batches) for number, batches in by_input.items()}


def cut_sheets(waiting: Iterable[Sheets | Other], most_rows: int, most_subjects: int) -> Iterator[Sheets | Other]:
    """Cut into pieces of whole subjects, of about so many rows; how depends on the subjects and their rows alone.

    Items that are not sheets are passed on at once.
    """
    held = list[Sheets]()
    rows = subjects = 0
    for sheets in waiting:
        if not isinstance(sheets, Sheets):
            yield sheets
            continue
        held.append(sheets)
        rows += _size(sheets)
        subjects += len(sheets.subjects)
        if rows >= most_rows or subjects >= most_subjects:
            *pieces, last = _pieces(joined_sheets(held), most_rows, most_subjects)
            yield from pieces
            held, rows, subjects = [last], _size(last), len(last.subjects)
    if held:
        yield from _pieces(joined_sheets(held), most_rows, most_subjects)


def _size(sheets: Sheets) -> int:
    return sum(len(rows) for _, rows in sheets.by_input)


def _pieces(whole: Sheets, most_rows: int, most_subjects: int) -> Iterator[Sheets]:
    for part in stretches(np.cumsum(whole.counts()), most_rows, most_subjects):
        yield whole.part(part.start, part.stop)
