"""Some thousand rows of a table at a time: a column of cells for each of its columns, as they stand in the file."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow

from heartlevel.columns import Ints
from heartlevel.tables.cells import values_of


@dataclass(frozen=True, slots=True)
class BadRow:
    """A line of a table, from 1, that cannot be read as a row, or, as line 0, the rest of the file, and why."""

    line: int
    code: str


@dataclass(frozen=True, slots=True)
class Chunk:
    """Rows of one table: a column of cells for each of its columns, and each row's line, or number, from 1."""

    cells: Sequence[pyarrow.Array]
    lines: Ints

    def rows(self, most: int) -> list[list[Any]]:
        """Return the cells of the first rows, a list a row."""
        return [list(row) for row in zip(*(values_of(column[:most]) for column in self.cells), strict=True)]


def numbered(first: int, count: int) -> Ints:
    """Return so many numbers, one after the other."""
    return np.arange(first, first + count, dtype=np.int64)
