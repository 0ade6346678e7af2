"""Rows brought together by subject, so that none is split, in bounded memory."""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np
import orjson

from heartlevel.bulk.opening import Meter
from heartlevel.bulk.sheets import SUBJECT, Named, Sheets, as_bytes, from_bytes, sheets_of
from heartlevel.columns import Ints

if TYPE_CHECKING:
    import pyarrow

BUCKETS = 128
LARGEST_BUCKET = 32 * 1024 * 1024
DEEPEST = 4


@dataclass(frozen=True, slots=True)
class Bad:
    """A place of an input where nothing could be read: a line from 1, or 0 for the input as a whole."""

    input: int
    line: int
    code: str


def gathered(rows: Iterable[Named | Bad], folder: Path, meter: Meter | None = None) -> Iterator[Sheets | Bad]:
    """Yield the subjects of rows in any order, by way of files in `folder`: by a hash of the subject's name, then as
    they first appear. The order depends on the rows alone."""  # fmt: skip
    yield from _from_buckets(rows, folder, 0, meter)


def _from_buckets(rows: Iterable[Named | Bad], folder: Path, depth: int, meter: Meter | None) -> Iterator[Sheets | Bad]:
    *paths, bad = _partitioned(rows, folder, depth)
    yield from _bad_ones(bad)
    sizes = sum(path.stat().st_size for path in paths)
    share = (meter.total or 0) - meter.position if meter and depth == 0 else 0
    for path in paths:
        size = path.stat().st_size
        if size > LARGEST_BUCKET and depth < DEEPEST:
            yield from _from_buckets(_read(path), folder, depth + 1, None)
        elif size:
            yield sheets_of(_read(path))
        path.unlink()
        if meter and sizes:
            meter.advance(share * size // sizes)


def _partitioned(rows: Iterable[Named | Bad], folder: Path, depth: int) -> list[Path]:
    paths = [folder / f"{depth}-{number}" for number in range(BUCKETS + 1)]
    with ExitStack() as stack:
        files = [stack.enter_context(path.open("wb")) for path in paths]
        for one in rows:
            if isinstance(one, Bad):
                files[BUCKETS].write(orjson.dumps([one.input, one.line, one.code]) + b"\n")
                continue
            for bucket, some in _parted(one.rows, depth):
                _write(files[bucket], Named(one.input, some))
    return paths


def _parted(rows: "pyarrow.RecordBatch", depth: int) -> "Iterator[tuple[int, pyarrow.RecordBatch]]":
    """Yield the rows of each bucket, in their order."""
    names = rows.column(SUBJECT).dictionary_encode()
    of_name = np.array([hash_of(name, depth) % BUCKETS for name in names.dictionary.to_pylist()], dtype=np.int64)
    bucket: Ints = of_name[names.indices.to_numpy(zero_copy_only=False)]
    order = np.argsort(bucket, kind="stable")
    ends = np.cumsum(np.bincount(bucket, minlength=BUCKETS))
    taken = rows.take(order)
    for number in np.flatnonzero(np.diff(ends, prepend=0)).tolist():
        yield number, taken[int(ends[number - 1]) if number else 0 : int(ends[number])]


def hash_of(subject: str, depth: int) -> int:
    """Return a number that is the same for the same name everywhere, another one at each depth."""
    text = subject.encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(text, digest_size=8, salt=bytes([depth])).digest(), "big")


def _write(file: IO[bytes], one: Named) -> None:
    content = as_bytes(one.rows)
    file.write(one.input.to_bytes(8, "big") + len(content).to_bytes(8, "big") + content)


def _read(path: Path) -> Iterator[Named]:
    with path.open("rb") as file:
        while start := file.read(16):
            content = file.read(int.from_bytes(start[8:], "big"))
            yield Named(int.from_bytes(start[:8], "big"), from_bytes(content))


def _bad_ones(path: Path) -> Iterator[Bad]:
    with path.open("rb") as file:
        for line in file:
            yield Bad(*orjson.loads(line))
    path.unlink()
