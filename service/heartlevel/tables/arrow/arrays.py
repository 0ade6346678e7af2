"""NumPy columns and texts as Arrow arrays and back, by their bytes.

What Arrow offers for it looks for types of pandas among the values, and imports pandas where it is installed: a fifth of
the time that a small run takes.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow

from heartlevel.columns import Bools


def as_arrow(values: npt.NDArray[Any], missing: Bools | None = None) -> pyarrow.Array:
    """Return numbers or truths as Arrow has them; those that are `missing`, and NaN, are null."""
    if values.dtype.kind == "f":
        missing = np.isnan(values) if missing is None else missing | np.isnan(values)
    content = np.packbits(values, bitorder="little") if values.dtype == bool else np.ascontiguousarray(values)
    buffers = [_known(missing), pyarrow.py_buffer(content)]
    return pyarrow.Array.from_buffers(pyarrow.from_numpy_dtype(values.dtype), len(values), buffers)


def texts_as_arrow(texts: Iterable[str | None]) -> pyarrow.Array:
    """Return texts as Arrow has them; None is null."""
    held = list(texts)
    missing = np.array([text is None for text in held], dtype=bool) if None in held else None
    known = held if missing is None else [text or "" for text in held]
    whole = "".join(known)  # type: ignore[arg-type]
    sizes = map(len, known if whole.isascii() else map(str.encode, known))  # type: ignore[arg-type]
    ends = np.zeros(len(held) + 1, dtype=np.int32)
    np.cumsum(np.fromiter(sizes, np.int32, len(held)), out=ends[1:])
    content, starts = pyarrow.py_buffer(whole.encode()), pyarrow.py_buffer(ends)
    return pyarrow.StringArray.from_buffers(len(held), starts, content, _known(missing))


def _known(missing: Bools | None) -> pyarrow.Buffer | None:
    """Return the bits of rows that are not missing; None where all are there."""
    if missing is None or not missing.any():
        return None
    return pyarrow.py_buffer(np.packbits(~missing, bitorder="little"))


def as_numpy(cells: pyarrow.Array, nothing: float = np.nan) -> npt.NDArray[Any]:
    """Return numbers or truths as NumPy has them, not to be written to.

    `nothing` stands for null among numbers; a truth that is null is false.
    """
    if pyarrow.types.is_boolean(cells.type):
        truths: Bools = as_numpy(cells.cast(pyarrow.uint8()), 0) != 0
        return truths
    if not cells.null_count:
        return np.from_dlpack(cells)
    there, (_, content) = as_numpy(cells.is_valid()), cells.buffers()
    whole = pyarrow.Array.from_buffers(cells.type, len(cells), [None, content], offset=cells.offset)
    return np.where(there, np.from_dlpack(whole), nothing)
