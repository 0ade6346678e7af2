"""Some thousand rows of a table at a time: a column of cells for each of its columns, as they stand in the file."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import orjson

from heartlevel.columns import Ints

if TYPE_CHECKING:
    import pyarrow


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that is none."""

    line: int
    code: str


@dataclass(frozen=True, slots=True)
class Chunk:
    """Rows of one table: a column of cells for each of its columns, and each row's line, or number, from 1."""

    cells: "Sequence[pyarrow.Array]"
    lines: Ints

    def rows(self, most: int) -> list[list[Any]]:
        """Return the cells of the first rows, a list a row."""
        return rows_of([column[:most] for column in self.cells])


def rows_of(cells: "Sequence[pyarrow.Array]") -> list[list[Any]]:
    """Return columns of cells as rows of values."""
    return [list(row) for row in zip(*map(values_of, cells), strict=True)]


def values_of(cells: "pyarrow.Array") -> list[Any]:
    """Return a column's cells as texts, numbers, truths and lists."""
    return [_value(one) for one in cells.to_pylist()]


def distinct(cells: "pyarrow.Array") -> tuple[Ints, list[Any]]:
    """Return the place of each cell among the values there are, −1 for nothing, and those values."""
    import pyarrow

    if pyarrow.types.is_nested(cells.type) or pyarrow.types.is_null(cells.type):
        return np.arange(len(cells)), values_of(cells)
    encoded = cells.dictionary_encode()
    places: Ints = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
    return places, values_of(encoded.dictionary)


def numbered(first: int, count: int) -> Ints:
    """Return so many numbers, one after the other."""
    return np.arange(first, first + count, dtype=np.int64)


def _value(cell: Any) -> Any:
    if cell is None or isinstance(cell, (str, int, float, bool, list)):
        return cell
    if isinstance(cell, (datetime, date)):
        return cell.isoformat()
    try:
        return float(cell)
    except (TypeError, ValueError):
        return orjson.dumps(cell, default=str).decode()
