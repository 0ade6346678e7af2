"""Some thousand rows of a table at a time: a column of cells for each of its columns, as they stand in the file."""

from collections.abc import Sequence
from dataclasses import dataclass

import pyarrow

from heartlevel.columns import Ints


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
