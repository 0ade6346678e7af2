"""From lines of JSON, or rows as bytes, to Parquet, a bounded number at a time; the same content gives the same bytes."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

import orjson

from heartlevel.bulk.sheets import as_bytes, from_bytes

FINDING_COLUMNS = ("subject", "finding", "rule", "scope", "severity", "urgent", "effect", "title", "explanation",
                   "advice", "readings", "facts", "rules_fingerprint")  # fmt: skip
MOST_ROWS = 10_000
MOST_BYTES = 16 * 1024 * 1024
ROWS_TOGETHER = 131_072  # of a table made of pieces
LENGTH = 8


def findings_table(lines: Path, table: Path) -> None:
    """Write lines of findings as a table, one row a finding."""
    import pyarrow

    text = pyarrow.string()
    kinds = {"urgent": pyarrow.bool_(), "readings": pyarrow.list_(text)}
    _convert(lines, table, pyarrow.schema([(name, kinds.get(name, text)) for name in FINDING_COLUMNS]), _as_it_is)


def answers_table(lines: Path, table: Path) -> None:
    """Write lines of answers as a table, one row a subject; `answer` is the whole answer as JSON."""
    import pyarrow

    text, count = pyarrow.string(), pyarrow.int32()
    schema = pyarrow.schema(
        [("subject", text), ("urgent", pyarrow.bool_()), ("guideline", text), ("category", text), ("pattern", text),
         ("readings", count), ("findings", count), ("problems", count), ("rules_fingerprint", text), ("answer", text)]
    )  # fmt: skip
    _convert(lines, table, schema, _row_of_answer)


def _as_it_is(line: bytes) -> dict[str, Any]:
    row: dict[str, Any] = orjson.loads(line)
    return row


def _row_of_answer(line: bytes) -> dict[str, Any]:
    answer = orjson.loads(line)
    return {
        "subject": answer["subject"]["id"],
        "urgent": answer["urgent"],
        "guideline": answer["classification"]["guideline"],
        "category": answer["classification"]["category"],
        "pattern": answer["pattern"]["label"],
        **{name: len(answer[name]) for name in ("readings", "findings", "problems")},
        "rules_fingerprint": answer["made_with"]["rules"]["fingerprint"],
        "answer": line.rstrip(b"\n").decode(),
    }


def _convert(lines: Path, table: Path, schema: Any, row_of: Callable[[bytes], dict[str, Any]]) -> None:
    import pyarrow
    from pyarrow import parquet

    with parquet.ParquetWriter(table, schema, compression="zstd") as writer:
        for some in _batches(lines):
            writer.write_table(pyarrow.Table.from_pylist([row_of(line) for line in some], schema=schema))


def _batches(path: Path) -> Iterator[list[bytes]]:
    held, size = list[bytes](), 0
    with path.open("rb") as file:
        for line in file:
            held.append(line)
            size += len(line)
            if len(held) >= MOST_ROWS or size >= MOST_BYTES:
                yield held
                held, size = [], 0
    if held:
        yield held


def result_table(pieces: Path, table: Path) -> None:
    """Write rows kept as bytes, one piece after the other, as a table. The first piece has all columns and no row."""
    import pyarrow
    from pyarrow import parquet

    with pieces.open("rb") as file:
        schema = next(_pieces(file)).schema
        texts = [one.name for one in schema if pyarrow.types.is_dictionary(one.type)]
        with parquet.ParquetWriter(table, schema, compression="zstd", use_dictionary=texts, store_schema=False) as writer:
            for some in _together(_pieces(file)):
                writer.write_table(pyarrow.Table.from_batches(some, schema).unify_dictionaries())


def _pieces(file: IO[bytes]) -> Iterator[Any]:
    while size := file.read(LENGTH):
        yield from_bytes(file.read(int.from_bytes(size, "big")))


def as_piece(rows: Any) -> bytes:
    """Return rows as bytes with their length before them."""
    content = as_bytes(rows)
    return len(content).to_bytes(LENGTH, "big") + content


def _together(pieces: Iterator[Any]) -> Iterator[list[Any]]:
    held, size = list[Any](), 0
    for one in pieces:
        held.append(one)
        size += len(one)
        if size >= ROWS_TOGETHER:
            yield held
            held, size = [], 0
    if held:
        yield held
