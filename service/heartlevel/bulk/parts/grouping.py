"""Rows brought together by subject, so that none is split, in bounded memory."""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import IO, Any, TypeAlias

import numpy as np
import orjson
import pyarrow

from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.parts.sheets import SUBJECT, NamedRows, Sheets, as_bytes, from_bytes, sheets_of
from heartlevel.columns import Ints
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy
from heartlevel.vocabulary import URGENCY_LEVELS

BUCKETS = 128
UNREADABLE = BUCKETS  # stands for what is in no bucket
LARGEST_BUCKET = 32 * 1024 * 1024
DEEPEST = 4


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A line of an input, from 1, that cannot be read, or, as line 0, the input as a whole, and why."""

    input: int
    line: int
    code: str
    request: dict[str, Any] | None = None  # what a row says that names no subject
    urgency: str | None = None  # the level of what is legible in that

    @property
    def urgent(self) -> bool:
        """Whether it may need help."""
        return self.urgency in URGENCY_LEVELS[: URGENCY_LEVELS.index("history")]


RowsRead: TypeAlias = Iterable[NamedRows | Unreadable]


def gathered(rows: RowsRead, folder: Path, meter: Meter | None = None, depth: int = 0) -> Iterator[Sheets | Unreadable]:
    """Yield the subjects of rows in any order, by way of files in `folder`; `depth` is how often they were parted before.

    They come by a hash of the subject's name, then as they first appear: the order depends on the rows alone.
    """
    paths, unreadable = _partitioned(rows, folder, depth)
    if unreadable:
        yield from _read_unreadable(unreadable)
    sizes = sum(path.stat().st_size for path in paths)
    share = (meter.total or 0) - meter.position if meter else 0
    for path in paths:
        size = path.stat().st_size
        if size > LARGEST_BUCKET and depth < DEEPEST:
            yield from gathered(_read(path), folder, depth=depth + 1)
        else:
            yield sheets_of(_read(path))
        path.unlink()
        if meter:
            meter.advance(share * size // sizes)


def _partitioned(rows: RowsRead, folder: Path, depth: int) -> tuple[list[Path], Path | None]:
    """Return the files of the buckets that have rows, in their order, and the one of what cannot be read, if anything."""
    files: dict[int, IO[bytes]] = {}
    with ExitStack() as stack:

        def file_of(bucket: int) -> IO[bytes]:
            if bucket not in files:
                files[bucket] = stack.enter_context((folder / f"{depth}-{bucket}").open("wb"))
            return files[bucket]

        for item in rows:
            if isinstance(item, Unreadable):
                line = orjson.dumps([item.input, item.line, item.code, item.request], default=str) + b"\n"
                file_of(UNREADABLE).write(line)
                continue
            for bucket, inner in _parted(item.rows, depth):
                _write(file_of(bucket), NamedRows(item.input, inner))
    paths = {bucket: Path(files[bucket].name) for bucket in sorted(files)}
    unreadable = paths.pop(UNREADABLE, None)
    return list(paths.values()), unreadable


def _parted(rows: pyarrow.RecordBatch, depth: int) -> Iterator[tuple[int, pyarrow.RecordBatch]]:
    """Yield the rows of each bucket, in their order."""
    names = rows.column(SUBJECT).dictionary_encode()
    bucket_of_name = np.array([hash_of(name, depth) % BUCKETS for name in names.dictionary.to_pylist()], dtype=np.int64)
    bucket: Ints = bucket_of_name[as_numpy(names.indices)]
    order = np.argsort(bucket, kind="stable")
    ends = np.cumsum(np.bincount(bucket, minlength=BUCKETS))
    taken = rows.take(as_arrow(order))
    for number in np.flatnonzero(np.diff(ends, prepend=0)).tolist():
        yield number, taken[int(ends[number - 1]) if number else 0 : int(ends[number])]


def hash_of(subject: str, depth: int) -> int:
    """Return a number that is the same for the same name everywhere, another one at each depth."""
    text = subject.encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(text, digest_size=8, salt=bytes([depth])).digest(), "big")


def _write(file: IO[bytes], named: NamedRows) -> None:
    content = as_bytes(named.rows)
    file.write(named.input.to_bytes(8, "big") + len(content).to_bytes(8, "big") + content)


def _read(path: Path) -> Iterator[NamedRows]:
    with path.open("rb") as file:
        while start := file.read(16):
            content = file.read(int.from_bytes(start[8:], "big"))
            yield NamedRows(int.from_bytes(start[:8], "big"), from_bytes(content))


def _read_unreadable(path: Path) -> Iterator[Unreadable]:
    with path.open("rb") as file:
        for line in file:
            yield Unreadable(*orjson.loads(line))
    path.unlink()
