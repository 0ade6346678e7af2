"""What the fields of the request hold in all rows of a table, as columns of codes; each distinct cell is read once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow
from marshmallow import fields
from pyarrow import compute

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.fields import Choice, Flag, Number, Text
from heartlevel.intake.screening import Unfit, look_at
from heartlevel.tables.arrow.arrays import as_numpy
from heartlevel.tables.cells import (
    Cells,
    MixedCells,
    are_texts,
    cell_value,
    distinct,
    distinct_cells,
    time_in,
    trimmed_texts,
)
from heartlevel.tables.fields import FIELDS
from heartlevel.tables.meanings import Mapped, Meaning

WRITTEN_APART = ("id", "taken_at")  # hardly two cells of these are the same


@dataclass(slots=True)
class FieldColumn:
    """What a field holds in all rows. `codes` are numbers as they stand in a column of facts; NaN is not recorded.

    Of texts and lists a code is the number of what is held among `held`. `doubtful` rows hold what the field may not take.
    """

    field: fields.Field[Any]
    codes: Floats
    doubtful: Bools
    held: list[Any] | None = None

    def at(self, rows: Ints) -> "FieldColumn":
        """Return the column of these rows."""
        return replace(self, codes=self.codes[rows], doubtful=self.doubtful[rows])

    def values(self) -> list[Any]:
        """Return the texts or lists of all rows, None where there is none."""
        held, numbers = [*(self.held or ()), None], self._numbers()
        if len(numbers) == len(held) - 1 and bool((numbers == np.arange(len(numbers))).all()):
            return held[:-1]  # each row holds something of its own
        return [held[number] for number in numbers.tolist()]

    def looked_up(self, values: Sequence[float | None]) -> Floats:
        """Return, by row, one of the values, of which there is one for each thing held; NaN where none is."""
        codes: Floats = np.array([*values, np.nan], dtype=np.float64)[self._numbers()]
        return codes

    def comparable(self) -> Floats:
        """Return the column so that equal things have equal numbers."""
        if self.held is None:
            return self.codes
        number: dict[Any, float] = {}
        keys = (tuple(thing) if isinstance(thing, list) else thing for thing in self.held)
        return self.looked_up([number.setdefault(key, float(len(number))) for key in keys])

    def value_of(self, code: float) -> Any:
        """Return what the field holds under a code, as it would stand in a request."""
        if np.isnan(code):
            return None
        if self.held is not None:
            return self.held[int(code)]
        if isinstance(self.field, Choice):
            return self.field.names[int(code)]
        return bool(code) if isinstance(self.field, Flag) else code

    def _numbers(self) -> Ints:
        return np.where(np.isnan(self.codes), len(self.held or ()), self.codes).astype(np.int64)


def field_columns(cells: Sequence[Cells], meanings: Sequence[Meaning | None], mapped: Mapped) -> dict[str, FieldColumn]:
    """Return what each field holds in all rows; where several columns say something of one, the last of them counts."""
    columns: dict[str, FieldColumn] = {}
    for name, value in mapped.fixed.items():
        _lay(columns, name, _coded(mapped.fields[name].declared, np.zeros(len(cells[0]), dtype=np.int64), [value]))
    times = []
    for column, meaning in zip(cells, meanings, strict=True):
        if meaning is not None and meaning.to == "taken_at":
            times.append((column, meaning))
        elif meaning is not None:
            _lay(columns, meaning.to, _column(column, meaning, mapped.decimal))
    if times:
        _lay(columns, "taken_at", _times(times, mapped))
    return columns


def _lay(columns: dict[str, FieldColumn], name: str, above: FieldColumn) -> None:
    """Lay what a column says over what others said of its field."""
    below = columns.get(name)
    if below is not None:
        known = ~np.isnan(above.codes) | above.doubtful
        codes = np.where(known, above.codes + len(below.held or ()), below.codes)
        doubtful = np.where(known, above.doubtful, below.doubtful)
        held = None if below.held is None else [*below.held, *(above.held or ())]
        above = FieldColumn(above.field, codes, doubtful, held)
    columns[name] = above


def _column(cells: Cells, meaning: Meaning, decimal: str) -> FieldColumn:
    field = meaning.field.declared
    if not isinstance(cells, MixedCells) and not meaning.values and meaning.factor == 1.0:
        kind = cells.type
        if type(field) is Number and (pyarrow.types.is_floating(kind) or pyarrow.types.is_integer(kind)):
            codes = _floats(cells)
            return FieldColumn(field, codes, (codes < field.low) | (codes > field.high))
        if type(field) is Flag and pyarrow.types.is_boolean(kind):
            return FieldColumn(field, _floats(cells.cast(pyarrow.int8())), np.zeros(len(cells), dtype=bool))
        if type(field) is Text and are_texts(cells) and (plain := _plain_column(cells, field, meaning.to in WRITTEN_APART)):
            return plain
    numbers, values = distinct(cells)
    return _coded(field, numbers, [cell_value(value, meaning, decimal) for value in values])


def _floats(cells: pyarrow.Array) -> Floats:
    values: Floats = as_numpy(cells.cast(pyarrow.float64()))
    return values


def _coded(field: fields.Field[Any], numbers: Ints, sent: Sequence[Any]) -> FieldColumn:
    """Return a column of which each row holds one of the things sent; −1 is none."""
    held, fit = _looked_at(sent, field)
    known = np.array([*(thing is not None for thing in held), False])[numbers]
    doubtful = np.array([*(not fits for fits in fit), False])[numbers]
    column = FieldColumn(field, np.where(known, numbers, np.nan), doubtful, held)
    if not isinstance(field, (Number, Flag, Choice)):
        return column
    names = {name: number for number, name in enumerate(field.names)} if isinstance(field, Choice) else None
    codes = [np.nan if thing is None else float(names[thing] if names else thing) for thing in held]
    return FieldColumn(field, column.looked_up(codes), doubtful)


def _looked_at(sent: Sequence[Any], field: fields.Field[Any]) -> tuple[list[Any], list[bool]]:
    """Return what the field makes of values, and which of them it takes."""
    look = look_at(field)
    held, fit = list[Any](), list[bool]()
    for value in sent:
        try:
            held.append(None if value is None else look(value))
            fit.append(True)
        except Unfit:
            held.append(None)
            fit.append(False)
    return held, fit


def _plain_column(cells: pyarrow.Array, field: Text, written_apart: bool) -> FieldColumn | None:
    """Look at texts in one go, where they are not `written_apart` at the different ones; None where they are not plain."""
    numbers, known = (None, cells) if written_apart else distinct_cells(cells)
    trimmed = trimmed_texts(known)
    if trimmed is None:
        return None
    length = as_numpy(compute.binary_length(trimmed), 0)
    codes = np.where((length > 0) & (length <= field.longest), np.arange(len(length)), np.nan)
    column = FieldColumn(field, codes, length > field.longest, trimmed.to_pylist())
    if numbers is None:
        return column
    doubtful = np.append(column.doubtful, False)[numbers]  # −1, for nothing, is the last
    return replace(column, codes=np.append(column.codes, np.nan)[numbers], doubtful=doubtful)


def _times(columns: Sequence[tuple[Cells, Meaning]], mapped: Mapped) -> FieldColumn:
    """Return when each row was taken; the texts of several columns are joined."""
    if len(columns) == 1 and mapped.time_format is None:
        return _column(*columns[0], mapped.decimal)
    whole = _texts_joined(columns, mapped.decimal)
    number: dict[str, int] = {}
    numbers = np.array([number.setdefault(text, len(number)) for text in whole], dtype=np.int64)
    sent = [time_in(text, mapped.time_format) if text else None for text in number]
    return _coded(FIELDS["taken_at"].declared, numbers, sent)


def times_in(cells: Sequence[Cells], meanings: Sequence[Meaning | None], decimal: str) -> list[str]:
    """Return the time of each row as it is written, the texts of several columns joined; empty where there is none."""
    columns = zip(cells, meanings, strict=True)
    return _texts_joined(
        [(column, meaning) for column, meaning in columns if meaning and meaning.to == "taken_at"], decimal
    )


def _texts_joined(columns: Sequence[tuple[Cells, Meaning]], decimal: str) -> list[str]:
    parts = []
    for cells, meaning in columns:
        numbers, values = distinct(cells)
        read = [cell_value(value, meaning, decimal) for value in values]
        texts = [None if value is None else str(value) for value in read] + [None]  # −1 is the last
        parts.append([texts[number] for number in numbers.tolist()])
    return [" ".join(filter(None, row)) for row in zip(*parts, strict=True)]


def first_rows(owners: Ints, count: int, values: Floats) -> Ints:
    """Return the first row of each of so many owners in which a value is known; −1 for none, and owns nothing."""
    rows = np.flatnonzero(~np.isnan(values) & (owners >= 0))[::-1]
    first = np.full(count, -1, dtype=np.int64)
    first[owners[rows]] = rows  # the last one written is the first
    return first


def first_known(owners: Ints, count: int, values: Floats) -> Floats:
    """Return the first known value of each of so many owners; −1 owns nothing."""
    return np.append(values, np.nan)[first_rows(owners, count, values)]


def all_columns(tables: Sequence[Mapping[str, FieldColumn]], sizes: Sequence[int]) -> dict[str, FieldColumn]:
    """Return the columns of tables put one after the other."""
    if len(tables) == 1:
        return dict(tables[0])
    names = dict.fromkeys(name for table in tables for name in table)
    return {name: _joined([table.get(name) for table in tables], sizes) for name in names}


def _joined(columns: Sequence[FieldColumn | None], sizes: Sequence[int]) -> FieldColumn:
    """Put what a field holds in tables one after the other; None says nothing in so many rows."""
    first = next(column for column in columns if column is not None)
    held, codes, doubtful = list[Any](), [], []
    for column, size in zip(columns, sizes, strict=True):
        codes.append(np.full(size, np.nan) if column is None else column.codes + len(held))
        doubtful.append(np.zeros(size, dtype=bool) if column is None else column.doubtful)
        held += (column.held or ()) if column else ()
    return FieldColumn(first.field, np.concatenate(codes), np.concatenate(doubtful), None if first.held is None else held)
