"""Columns of cells as columns of what the request's fields hold: each distinct cell is read as in a row, once."""

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np
import orjson
import pyarrow
from marshmallow import fields
from pyarrow import compute

from heartlevel.bulk.chunks import distinct, values_of
from heartlevel.bulk.fields import FIELDS, Field
from heartlevel.bulk.mapping import Column as Meaning
from heartlevel.bulk.mapping import Mapped
from heartlevel.bulk.rows import time_of, value_of
from heartlevel.columns import Ints
from heartlevel.intake.columnwise import Column, coded, looked_at, numbers
from heartlevel.intake.fields import Flag, Number, Text
from heartlevel.intake.table_columns import Path

Key: TypeAlias = tuple[str, Path]  # part of the request, and the way to the field there
WRITTEN_APART = ("id", "taken_at")  # hardly two cells of these are the same
SPACE, TILDE = 0x20, 0x7E  # what is printed of ASCII lies between


def columns_of(cells: Sequence[pyarrow.Array], meanings: Sequence[Meaning | None], mapped: Mapped) -> dict[Key, Column]:
    """Return what each field holds in all rows; where several columns say something of one, the last of them counts."""
    found: dict[Key, Column] = {}
    for name, value in mapped.fixed.items():
        _lay(found, FIELDS[name], _everywhere(value, FIELDS[name].declared, len(cells[0])))
    times = []
    for column, meaning in zip(cells, meanings, strict=True):
        if meaning is not None and meaning.to == "taken_at":
            times.append((column, meaning))
        elif meaning is not None:
            _lay(found, FIELDS[meaning.to], _column(column, meaning, mapped.decimal))
    if times:
        _lay(found, FIELDS["taken_at"], _times(times, mapped))
    return found


def _lay(found: dict[Key, Column], field: Field, above: Column) -> None:
    """Lay what a column says over what others said of its field."""
    key = field.part, field.path
    below = found.get(key)
    if below is not None:
        said = ~np.isnan(above.codes) | above.doubtful
        moved = above.codes + len(below.held or ())
        above = Column(above.field, np.where(said, moved, below.codes), np.where(said, above.doubtful, below.doubtful),
                       None if below.held is None else [*below.held, *(above.held or ())])  # fmt: skip
    found[key] = above


def joined(several: Sequence[Column | None], sizes: Sequence[int]) -> Column:
    """Put what a field holds in several tables one after the other; None says nothing."""
    held, codes, doubtful = list[Any](), [], []
    for one, size in zip(several, sizes, strict=True):
        codes.append(np.full(size, np.nan) if one is None else one.codes + len(held))
        doubtful.append(np.zeros(size, dtype=bool) if one is None else one.doubtful)
        held += (one.held or ()) if one else ()
    first = next(one for one in several if one is not None)
    whole = np.concatenate(codes), np.concatenate(doubtful)
    return Column(first.field, *whole, None if first.held is None else held)


def _everywhere(value: Any, field: fields.Field[Any], size: int) -> Column:
    return _coded(field, np.zeros(size, dtype=np.int64), [orjson.loads(orjson.dumps(value))])


def _column(cells: pyarrow.Array, meaning: Meaning, decimal: str) -> Column:
    field, kind, as_it_is = FIELDS[meaning.to].declared, cells.type, not meaning.values and meaning.factor == 1.0
    if as_it_is and type(field) is Number and (pyarrow.types.is_floating(kind) or pyarrow.types.is_integer(kind)):
        return numbers(field, _floats(cells))
    if as_it_is and type(field) is Flag and pyarrow.types.is_boolean(kind):
        return Column(field, _floats(cells.cast(pyarrow.int8())), np.zeros(len(cells), dtype=bool))
    if as_it_is and type(field) is Text and meaning.to in WRITTEN_APART and _is_plain(cells):
        return _plain(cells, field)
    places, said = distinct(cells)
    return _coded(field, places, [value_of(one, meaning, decimal) for one in said])


def _floats(cells: pyarrow.Array) -> Any:
    return cells.cast(pyarrow.float64()).fill_null(np.nan).to_numpy(zero_copy_only=False)


def _coded(field: fields.Field[Any], places: Ints, sent: Sequence[Any]) -> Column:
    """Return a column of which each row holds one of the things sent; −1 is none."""
    held, fit = looked_at(sent, field)
    known = np.array([*(one is not None for one in held), False])[places]
    doubtful = np.array([*(not one for one in fit), False])[places]
    return coded(field, np.where(known, places, np.nan), doubtful, held)


def _is_plain(cells: pyarrow.Array) -> bool:
    """Tell whether cells are texts in which all that is not printed is spaces."""
    if not pyarrow.types.is_string(cells.type):
        return False
    _, _, content = cells.buffers()
    letters = np.frombuffer(content or b"", dtype=np.uint8)
    return not letters.size or bool(letters.min() >= SPACE and letters.max() <= TILDE)


def _plain(cells: pyarrow.Array, field: Text) -> Column:
    """Look at plain texts in one go."""
    trimmed = compute.utf8_trim(cells, " ")
    length = compute.binary_length(trimmed).fill_null(0).to_numpy(zero_copy_only=False)
    codes = np.where((length > 0) & (length <= field.longest), np.arange(len(length)), np.nan)
    return Column(field, codes, length > field.longest, trimmed.to_pylist())


def _times(columns: Sequence[tuple[pyarrow.Array, Meaning]], mapped: Mapped) -> Column:
    """Return when each row was taken; the texts of several columns are joined."""
    field = FIELDS["taken_at"].declared
    if len(columns) == 1 and mapped.time_format is None:
        return _column(*columns[0], mapped.decimal)
    parts = []
    for cells, meaning in columns:
        places, said = distinct(cells)
        texts = [None if one is None else str(one) for one in (value_of(one, meaning, mapped.decimal) for one in said)]
        parts.append([[*texts, None][place] for place in places.tolist()])
    whole = [" ".join(filter(None, row)) for row in zip(*parts, strict=True)]
    number: dict[str, int] = {}
    places = np.array([number.setdefault(one, len(number)) for one in whole], dtype=np.int64)
    return _coded(field, places, [time_of(one, mapped.time_format) if one else None for one in number])


def cells_as_values(cells: Sequence[pyarrow.Array], rows: Ints) -> list[list[Any]]:
    """Return the cells of some rows, a list a row."""
    some = [values_of(column.take(pyarrow.array(rows))) for column in cells]
    return [list(row) for row in zip(*some, strict=True)]


def value_at(column: Column, code: float) -> Any:
    """Return what a field holds under a code, as it would stand in a request."""
    if np.isnan(code):
        return None
    if column.held is not None:
        return column.held[int(code)]
    names: Mapping[int, str] = dict(enumerate(getattr(column.field, "names", ())))
    return names[int(code)] if names else bool(code) if isinstance(column.field, Flag) else code
