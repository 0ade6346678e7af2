"""Rows brought together by subject, so that none is split, in bounded memory."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import IO, Any, TypeAlias

import numpy as np
import orjson
import pyarrow

from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.parts.sheets import SUBJECT, NamedRows, Sheets, as_bytes, from_bytes, joined_by_input, sheets_of
from heartlevel.columns import Ints
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy
from heartlevel.vocabulary import URGENCY_LEVELS

BUCKETS = 128
LARGEST_BUCKET = 32 * 1024 * 1024
MOST_WAITING = 16 * 1024 * 1024  # bytes of rows that are parted together
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
    """Yield the subjects of rows in any order, of many by way of files in `folder`; `depth` is how often they were parted.

    They come by a hash of the subject's name, then as they first appear: the order depends on the rows alone.
    """
    buckets, unreadable = _Buckets(folder, depth), folder / f"{depth}-unreadable"
    with ExitStack() as stack:
        lines: IO[bytes] | None = None
        for item in rows:
            if isinstance(item, NamedRows):
                buckets.add(item)
                continue
            lines = lines or stack.enter_context(unreadable.open("wb"))
            lines.write(orjson.dumps([item.input, item.line, item.code, item.request], default=str) + b"\n")
    if lines:
        yield from _read_unreadable(unreadable)
    sizes = buckets.sizes()
    whole, share = sum(sizes.values()), (meter.total or 0) - meter.position if meter else 0
    for bucket, size in sorted(sizes.items()):
        if size > LARGEST_BUCKET and depth < DEEPEST:
            yield from gathered(buckets.rows_of(bucket), folder, depth=depth + 1)
        else:
            yield sheets_of(buckets.rows_of(bucket))
        if meter:
            meter.advance(share * size // whole)


class _Buckets:
    """Rows parted by a hash of their subject's name, those of each bucket in their order; many of them lie in files."""

    def __init__(self, folder: Path, depth: int) -> None:
        self._folder, self._depth, self._sizes = folder, depth, Counter[int]()
        self._waiting, self._bytes = list[NamedRows](), 0  # not parted yet
        self._held: dict[int, list[NamedRows]] = {}

    def add(self, named: NamedRows) -> None:
        """Add rows; those that wait are put into files once they are many."""
        self._waiting.append(named)
        self._bytes += named.rows.nbytes
        if self._bytes >= MOST_WAITING:
            for bucket, rows in self._parted():
                with self._path(bucket).open("ab") as file:
                    _write(file, rows)

    def sizes(self) -> Mapping[int, int]:
        """Return about how many bytes each bucket has, when all rows are added."""
        for bucket, rows in self._parted():
            self._held.setdefault(bucket, []).append(rows)
        return self._sizes

    def rows_of(self, bucket: int) -> Iterator[NamedRows]:
        """Yield the rows of a bucket, which are then let go."""
        path = self._path(bucket)
        if path.exists():
            yield from _read(path)
            path.unlink()
        yield from self._held.pop(bucket, ())

    def _parted(self) -> Iterator[tuple[int, NamedRows]]:
        for number, rows in joined_by_input((named.input, named.rows) for named in self._waiting).items():
            for bucket, inner in _parted(rows, self._depth):
                self._sizes[bucket] += rows.nbytes * len(inner) // len(rows)
                yield bucket, NamedRows(number, inner)
        self._waiting, self._bytes = [], 0

    def _path(self, bucket: int) -> Path:
        return self._folder / f"{self._depth}-{bucket}"


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
