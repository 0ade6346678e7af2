"""The columns of a pandas table as columns of cells, in which nothing is lost."""

from typing import Any

import numpy as np
import pandas as pd
import pyarrow
from pandas.api.types import infer_dtype, is_object_dtype

from heartlevel.tables.cells import Cells, mixed_cells, plain_cells, plain_value

KINDS_TAKEN = (
    pyarrow.types.is_integer, pyarrow.types.is_floating, pyarrow.types.is_boolean, pyarrow.types.is_decimal,
    pyarrow.types.is_string, pyarrow.types.is_large_string, pyarrow.types.is_timestamp, pyarrow.types.is_date,
    pyarrow.types.is_null,
)  # fmt: skip


def frame_cells(frame: pd.DataFrame) -> list[Cells]:
    """Return the cells of each column."""
    return [_cells(frame.iloc[:, number]) for number in range(frame.shape[1])]


def _cells(column: "pd.Series[Any]") -> Cells:
    cells = None if is_object_dtype(column.dtype) and infer_dtype(column, skipna=True) != "string" else _arrow(column)
    if cells is not None and any(is_kind(cells.type) for is_kind in KINDS_TAKEN):
        return cells
    return mixed_cells(map(_value, column.tolist()))


def _arrow(column: "pd.Series[Any]") -> pyarrow.Array | None:
    """Return a column as Arrow has it; None where Arrow cannot hold it."""
    # What Arrow refuses is of several kinds, or holds half characters: its values are kept as they are.
    try:
        cells = pyarrow.array(column, from_pandas=True)
        return plain_cells(cells.combine_chunks() if isinstance(cells, pyarrow.ChunkedArray) else cells)
    except (pyarrow.ArrowException, UnicodeEncodeError, TypeError, ValueError, OverflowError):
        return None


def _value(cell: Any) -> Any:
    if isinstance(cell, np.generic):
        cell = pd.Timestamp(cell) if isinstance(cell, np.datetime64) else cell.item()
    if isinstance(cell, np.ndarray):
        cell = cell.tolist()
    if isinstance(cell, (set, frozenset)):
        cell = sorted(cell, key=str)
    if isinstance(cell, (list, tuple)):
        return [_value(item) for item in cell]
    return None if pd.api.types.is_scalar(cell) and pd.isna(cell) else plain_value(cell)
