"""Cells, and what each says: the one reading of a cell, whatever kind of table it stands in."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isfinite
from re import compile as pattern
from typing import Any, TypeAlias

import numpy as np
import pyarrow
from pyarrow import compute

from heartlevel.columns import Floats, Ints
from heartlevel.intake.blocks.members import read_by
from heartlevel.intake.fields import Choice
from heartlevel.intake.written import number_written
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy
from heartlevel.tables.fields import FIELDS, LIST, NUMBER, SUBJECT, TEXT
from heartlevel.tables.meanings import Layout, Meaning
from heartlevel.tables.written_times import times_as_texts

BETWEEN_ITEMS = pattern(r"[;|,]")
MOST_WORDS = 5  # of one name
SPACE, TILDE = 0x20, 0x7E  # what is printed of ASCII lies between
LEAST_WHOLE, LARGEST_WHOLE = -(2**63), 2**64 - 1  # of whole numbers that JSON is written with


@dataclass(frozen=True, slots=True, eq=False)
class MixedCells:
    """A column of things of several kinds, which no Arrow array holds: each row's number among the distinct ones.

    −1 is nothing.
    """

    numbers: Ints
    values: list[Any]

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.numbers)


Cells: TypeAlias = "pyarrow.Array | MixedCells"


def mixed_cells(values: Iterable[Any]) -> MixedCells:
    """Return a column of any Python values; like ones are held once, and what is equal but of another kind is apart."""
    known: dict[Any, int] = {}
    numbers, distinct_values = list[int](), list[Any]()
    for value in values:
        if value is None:
            numbers.append(-1)
            continue
        number = len(distinct_values)
        if not isinstance(value, list):
            number = known.setdefault((type(value), value), number)
        if number == len(distinct_values):
            distinct_values.append(value)
        numbers.append(number)
    return MixedCells(np.array(numbers, dtype=np.int64), distinct_values)


def plain_cells(cells: pyarrow.Array) -> pyarrow.Array:
    """Return a column without dictionary, times written as texts."""
    if pyarrow.types.is_dictionary(cells.type):
        cells = cells.dictionary_decode()
    return times_as_texts(cells) if pyarrow.types.is_timestamp(cells.type) else cells


def distinct(cells: Cells) -> tuple[Ints, list[Any]]:
    """Return the number of each cell among the values there are, −1 for nothing, and those values."""
    if isinstance(cells, MixedCells):
        return cells.numbers, cells.values
    if pyarrow.types.is_nested(cells.type) or pyarrow.types.is_null(cells.type):
        return np.arange(len(cells)), values_of(cells)
    numbers, known = distinct_cells(cells)
    return numbers, values_of(known)


def distinct_cells(cells: pyarrow.Array) -> tuple[Ints, pyarrow.Array]:
    """Return the number of each cell among the different ones, −1 for nothing, and these as they first appear."""
    encoded = cells.dictionary_encode()
    return as_numpy(encoded.indices, -1).astype(np.int64), encoded.dictionary


def are_texts(cells: Cells) -> bool:
    """Tell whether a column holds nothing but texts."""
    kind = None if isinstance(cells, MixedCells) else cells.type
    return kind is not None and (pyarrow.types.is_string(kind) or pyarrow.types.is_large_string(kind))


def trimmed_texts(texts: pyarrow.Array) -> pyarrow.Array | None:
    """Return texts as they are read, without the spaces around them; None where anything else in them is not printed."""
    _, _, content = texts.buffers()
    letters = np.frombuffer(content or b"", dtype=np.uint8)
    plain = not letters.size or bool(letters.min() >= SPACE and letters.max() <= TILDE)
    return compute.utf8_trim(texts, " ") if plain else None


def numbered(values: Floats | Ints) -> Ints:
    """Return the number of each value among the different ones, in the order in which they come; −1 for NaN."""
    return distinct_cells(as_arrow(values))[0]


def values_of(cells: Cells) -> list[Any]:
    """Return a column's cells as texts, numbers, truths and lists; None for nothing."""
    if isinstance(cells, MixedCells):
        values = [*cells.values, None]  # −1 is the last
        return [values[number] for number in cells.numbers.tolist()]
    return [plain_value(cell) for cell in cells.to_pylist()]


def taken(cells: Cells, rows: Ints) -> Cells:
    """Return the cells of some rows."""
    if isinstance(cells, MixedCells):
        return MixedCells(cells.numbers[rows], cells.values)
    return cells.take(as_arrow(rows))


def rows_of(columns: Sequence[Cells], rows: Ints) -> list[list[Any]]:
    """Return the cells of some rows, a list a row."""
    values = [values_of(taken(cells, rows)) for cells in columns]
    return [list(row) for row in zip(*values, strict=True)] or [[] for _ in rows]


def plain_value(cell: Any) -> Any:
    """Return what stands in a cell as a text, number, truth or list; other things as they are written."""
    if isinstance(cell, int) and not LEAST_WHOLE <= cell <= LARGEST_WHOLE:
        return str(cell)
    if cell is None or isinstance(cell, (str, int, float, list)):
        return cell
    if isinstance(cell, (datetime, date)):
        return cell.isoformat()
    try:
        return float(cell)
    except (TypeError, ValueError):
        return str(cell)


def cell_value(cell: Any, meaning: Meaning, decimal: str = ".") -> Any:
    """Return what a cell says as it would stand in a request; None where it says nothing.

    What the field cannot take is returned as it is: reading the request tells what is wrong with it.
    """
    if isinstance(cell, str):
        cell = cell.strip()
    value = meaning.values.get(str(as_text(cell)), cell) if meaning.values else cell
    if value is None or value == "" or value != value:  # a table may write a missing number as NaN
        return None
    field = meaning.field
    if field.kind == NUMBER:
        value = _number(value, meaning.factor, decimal)
    elif field.kind == TEXT:
        value = as_text(value)
    elif field.kind == LIST and isinstance(value, str):
        value = _items(value, field.declared)
    return read_by(field.declared, value)


def _items(text: str, field: Any) -> list[str]:
    """Return the items that a text lists: between `;`, `|` or `,`, and words apart but for those that are one name."""
    items, names = list[str](), field.inner.names if isinstance(field.inner, Choice) else ()
    for part in BETWEEN_ITEMS.split(text):
        words = part.split()
        while words:
            ends = range(min(len(words), MOST_WORDS), 1, -1)
            end = next((end for end in ends if read_by(field.inner, " ".join(words[:end])) in names), 1)
            items.append(" ".join(words[:end]))
            words = words[end:]
    return items


def _number(value: Any, factor: float, decimal: str) -> Any:
    number = number_in(value, decimal) if isinstance(value, str) else value
    if isinstance(number, bool) or not isinstance(number, (int, float)):
        return number
    if isinstance(number, float) and not isfinite(number):
        return as_text(value)  # JSON has no such number
    return number if factor == 1.0 else round(number * factor, 9)


def number_in(text: str, decimal: str) -> float | str | None:
    """Return the number that a text says; None for no number, and the text itself where it says something else."""
    written = text if decimal == "." else text.replace(decimal, ".")
    if written.strip("+-").lower() == "nan":
        return None
    number = number_written(written)
    return text if number is None else number


def as_text(value: Any) -> Any:
    """Return a number or truth as it is written in a text, whole numbers without a point; anything else as it is."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and isfinite(value):
        return f"{value:.0f}" if value.is_integer() else f"{value:.15g}"
    return str(value) if isinstance(value, (int, float)) else value


def time_in(text: str, written: str | None) -> str:
    """Return a time as the request has it; as it stands where it is not written in the way said."""
    if written is None:
        return text
    try:
        return datetime.strptime(text, written).isoformat()
    except ValueError:
        return text


def subject_names(columns: Sequence[Cells], layout: Layout) -> tuple[Ints, list[str]]:
    """Return each row's subject as its number among them, −1 for none, and the subjects' names as they first appear."""
    meaning = layout.meanings[layout.subject] or Meaning(FIELDS[SUBJECT])
    numbers, read = _names_read(columns[layout.subject], meaning)
    names: dict[str, int] = {}
    known = [-1 if name is None else names.setdefault(str(name), len(names)) for name in read]
    owners: Ints = np.array([*known, -1], dtype=np.int64)[numbers]  # the last is for nothing
    return owners, list(names)


def _names_read(cells: Cells, meaning: Meaning) -> tuple[Ints, Sequence[Any]]:
    """Return the number of each row's name among those there are, −1 for none, and the names as they are read."""
    if are_texts(cells) and not meaning.values:
        numbers, known = distinct_cells(cells)
        if (trimmed := trimmed_texts(known)) is not None:
            return numbers, [name or None for name in trimmed.to_pylist()]
    numbers, values = distinct(cells)
    return numbers, [cell_value(value, meaning) for value in values]
