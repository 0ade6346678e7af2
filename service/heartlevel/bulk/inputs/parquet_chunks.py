"""Parquet files in chunks, nested columns under dotted names."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow
from pyarrow import parquet

from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.opening import Damaged, Meter
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.tables.meanings import Mapped

MOST_ROWS = 16_384  # decoded at a time, so that damage costs little of what lies before it


def header_of_parquet(table: Input, mapped: Mapped) -> list[str]:
    """Return the names of the columns, those of nested ones dotted. Raises WrongCall where it is not Parquet."""
    with _parquet_file(table) as file:
        return [name for field in file.schema_arrow for name in _dotted(field)]


def chunks_of_parquet(table: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk]:
    """Yield the rows. Raises Damaged where they cannot be read on."""
    with _parquet_file(table) as file:
        number, told = 0, 0
        for batch in _batches(file):
            columns = _flattened(pyarrow.Table.from_batches([batch])).columns
            lines = np.arange(number + 1, number + 1 + len(batch))
            yield Chunk([_plain(column.combine_chunks()) for column in columns], lines)
            number += len(batch)
            if meter:
                now = (table.size or 0) * number // max(file.metadata.num_rows, 1)
                meter.advance(now - told)
                told = now


def _parquet_file(table: Input) -> Any:
    try:
        return parquet.ParquetFile(table.path)
    except (pyarrow.ArrowInvalid, OSError) as error:
        raise WrongCall(f"{table.name}: not a whole Parquet file") from error


def _batches(file: Any) -> Iterator[Any]:
    """Yield batches of rows, decoded in this thread: other processes are forked from this table."""
    try:
        yield from file.iter_batches(MOST_ROWS, use_threads=False)
    except (pyarrow.ArrowException, OSError) as error:
        raise Damaged from error


def _dotted(field: Any) -> list[str]:
    if not pyarrow.types.is_struct(field.type):
        return [field.name]
    return [name for within in field.flatten() for name in _dotted(within)]


def _flattened(rows: Any) -> Any:
    while any(pyarrow.types.is_struct(field.type) for field in rows.schema):
        rows = rows.flatten()
    return rows


def _plain(column: Any) -> Any:
    return column.dictionary_decode() if pyarrow.types.is_dictionary(column.type) else column
