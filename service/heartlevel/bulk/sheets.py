"""Rows of whole subjects, a sheet of cells for each table they come from; as bytes they go to other processes."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from heartlevel.columns import Ints, rank_within, stretches
from heartlevel.intake.request import MOST_READINGS

if TYPE_CHECKING:
    import pyarrow

# Beside the cells of a row: its line, the name of its subject, and, in a sheet, that name's place among the subjects.
LINE, SUBJECT, OWNER = "line", "subject", "owner"
# One row more than a request may hold is kept, so that too many are refused as such; the others are let go.
MOST_ROWS = MOST_READINGS + 1

Other = TypeVar("Other")


@dataclass(frozen=True, slots=True)
class Named:
    """Rows of one input whose subjects are known: columns of cells, their lines and subjects."""

    input: int
    rows: "pyarrow.RecordBatch"


@dataclass(frozen=True, slots=True)
class Sheets:
    """All rows of some subjects, in the order in which they first appear; the rows of one stand together."""

    subjects: list[str]
    by_input: list[tuple[int, "pyarrow.RecordBatch"]]

    def counts(self) -> Ints:
        """Return how many rows each subject has."""
        owners = [owners_of(rows) for _, rows in self.by_input]
        return np.bincount(np.concatenate(owners), minlength=len(self.subjects))

    def some(self, first: int, last: int) -> "Sheets":
        """Return the subjects from one place to before another."""
        found = []
        for number, rows in self.by_input:
            start, end = np.searchsorted(owners_of(rows), [first, last]).tolist()
            if end > start:
                found.append((number, _with_owners(rows[start:end], owners_of(rows)[start:end] - first)))
        return Sheets(self.subjects[first:last], found)


def owners_of(rows: "pyarrow.RecordBatch") -> Ints:
    """Return the place of each row's subject among the subjects."""
    owners: Ints = rows.column(OWNER).to_numpy(zero_copy_only=False)
    return owners


def lines_of(rows: "pyarrow.RecordBatch") -> Ints:
    """Return the line of each row."""
    lines: Ints = rows.column(LINE).to_numpy(zero_copy_only=False)
    return lines


def cells_of(rows: "pyarrow.RecordBatch") -> "list[pyarrow.Array]":
    """Return the columns of cells."""
    return [rows.column(place) for place, name in enumerate(rows.schema.names) if name not in (LINE, SUBJECT, OWNER)]


def named(number: int, cells: "Sequence[pyarrow.Array]", lines: Ints, subjects: "pyarrow.Array") -> Named:
    """Put the rows of a chunk together with the names of their subjects; rows of nobody are left out."""
    import pyarrow

    names = [str(place) for place in range(len(cells))]
    columns = [*cells, pyarrow.array(lines), subjects]
    rows = pyarrow.RecordBatch.from_arrays(columns, names=[*names, LINE, SUBJECT])
    return Named(number, rows.filter(subjects.is_valid()) if subjects.null_count else rows)


def sheets_of(several: Iterable[Named]) -> Sheets:
    """Bring the rows of each subject together. Rows of a subject beyond those a request may hold are left out."""
    import pyarrow

    pieces: dict[int, list[Any]] = {}
    for one in several:
        pieces.setdefault(one.input, []).append(one.rows)
    by_input = {number: pyarrow.concat_batches(some) for number, some in pieces.items()}
    names = pyarrow.chunked_array([rows.column(SUBJECT) for rows in by_input.values()]).combine_chunks().dictionary_encode()
    owners: Ints = names.indices.to_numpy(zero_copy_only=False).astype(np.int64)
    kept = rank_within(owners, len(names.dictionary)) < MOST_ROWS
    found, start = [], 0
    for number, rows in by_input.items():
        part = slice(start, start + len(rows))
        found.append((number, _sorted(rows, owners[part], kept[part])))
        start = part.stop
    return Sheets(names.dictionary.to_pylist(), found)


def _sorted(rows: "pyarrow.RecordBatch", owners: Ints, kept: Any) -> "pyarrow.RecordBatch":
    import pyarrow

    order = np.argsort(owners, kind="stable")
    order = order[kept[order]]
    in_order = len(order) == len(owners) and bool((owners[1:] >= owners[:-1]).all())
    taken = rows if in_order else rows.take(pyarrow.array(order))
    return _with_owners(taken.drop_columns([SUBJECT]), owners[order])


def _with_owners(rows: "pyarrow.RecordBatch", owners: Ints) -> "pyarrow.RecordBatch":
    import pyarrow

    names = [name for name in rows.schema.names if name != OWNER]
    columns = [rows.column(name) for name in names]
    return pyarrow.RecordBatch.from_arrays([*columns, pyarrow.array(owners)], names=[*names, OWNER])


def as_bytes(rows: "pyarrow.RecordBatch") -> bytes:
    """Write rows as bytes."""
    import pyarrow

    sink = pyarrow.BufferOutputStream()
    with pyarrow.ipc.new_stream(sink, rows.schema) as writer:
        writer.write_batch(rows)
    content: bytes = sink.getvalue().to_pybytes()
    return content


def from_bytes(content: bytes) -> "pyarrow.RecordBatch":
    """Read what `as_bytes` wrote."""
    import pyarrow

    return pyarrow.ipc.open_stream(content).read_next_batch()


def joined(several: Sequence[Sheets]) -> Sheets:
    """Put sheets of different subjects one after the other."""
    import pyarrow

    if len(several) == 1:
        return several[0]
    pieces: dict[int, list[Any]] = {}
    before = 0
    for one in several:
        for number, rows in one.by_input:
            pieces.setdefault(number, []).append(_with_owners(rows, owners_of(rows) + before))
        before += len(one.subjects)
    subjects = [name for one in several for name in one.subjects]
    return Sheets(subjects, [(number, pyarrow.concat_batches(some)) for number, some in sorted(pieces.items())])


def cut(waiting: Iterable[Sheets | Other], most_rows: int, most_subjects: int) -> Iterator[Sheets | Other]:
    """Cut into pieces of whole subjects, of about so many rows; how depends on the subjects and their rows alone.

    What is no sheet is passed on at once.
    """
    held = list[Sheets]()
    rows = subjects = 0
    for one in waiting:
        if not isinstance(one, Sheets):
            yield one
            continue
        held.append(one)
        rows += sum(len(some) for _, some in one.by_input)
        subjects += len(one.subjects)
        if rows >= most_rows or subjects >= most_subjects:
            *pieces, last = _pieces(joined(held), most_rows, most_subjects)
            yield from pieces
            held, rows, subjects = [last], sum(len(some) for _, some in last.by_input), len(last.subjects)
    if held:
        yield from _pieces(joined(held), most_rows, most_subjects)


def _pieces(whole: Sheets, most_rows: int, most_subjects: int) -> Iterator[Sheets]:
    for part in stretches(np.cumsum(whole.counts()), most_rows, most_subjects):
        yield whole.some(part.start, part.stop)
