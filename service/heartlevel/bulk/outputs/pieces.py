"""Rows kept as bytes, a piece a part, until they become Parquet; the same rows give the same bytes."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO, Any

import pyarrow
from pyarrow import parquet

from heartlevel.bulk.parts.sheets import as_bytes, from_bytes

LENGTH = 8  # bytes of the number before each piece


def piece_of_rows(rows: Sequence[Mapping[str, Any]], schema: pyarrow.Schema) -> bytes:
    """Return rows as a piece."""
    return as_piece(pyarrow.RecordBatch.from_pylist(rows, schema))


def as_piece(rows: pyarrow.RecordBatch) -> bytes:
    """Return rows as bytes with their length before them."""
    content = as_bytes(rows)
    return len(content).to_bytes(LENGTH, "big") + content


def pieces_to_parquet(pieces: Path, table: Path, rows_together: int, bytes_together: int | None) -> None:
    """Write pieces as one table, about so many rows, or bytes, at a time. The first piece has all columns and no row."""
    with pieces.open("rb") as file:
        schema = next(_pieces(file)).schema
        texts = [column.name for column in schema if pyarrow.types.is_dictionary(column.type)]
        writer = parquet.ParquetWriter(
            table, schema, compression="zstd", use_dictionary=texts or True, store_schema=not texts
        )
        with writer:
            for batches in _taken_together(_pieces(file), rows_together, bytes_together):
                writer.write_table(pyarrow.Table.from_batches(batches, schema).unify_dictionaries())


def _pieces(file: IO[bytes]) -> Iterator[pyarrow.RecordBatch]:
    while size := file.read(LENGTH):
        yield from_bytes(file.read(int.from_bytes(size, "big")))


def _taken_together(
    pieces: Iterator[pyarrow.RecordBatch], most_rows: int, most_bytes: int | None
) -> Iterator[list[pyarrow.RecordBatch]]:
    held, rows, size = list[pyarrow.RecordBatch](), 0, 0
    for piece in pieces:
        held.append(piece)
        rows += len(piece)
        size += piece.nbytes
        if rows >= most_rows or (most_bytes and size >= most_bytes):
            yield held
            held, rows, size = [], 0, 0
    if held:
        yield held
