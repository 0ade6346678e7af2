"""Rows brought together by subject, so that none is split, in bounded memory."""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any, TypeAlias

import orjson

from heartlevel.bulk.inputs import WrongCall
from heartlevel.bulk.opening import Meter
from heartlevel.intake.request import MOST_READINGS

BUCKETS = 128
LARGEST_BUCKET = 8 * 1024 * 1024
DEEPEST = 4
MOST_REMEMBERED = 1_000_000
# One row more than a request may hold is kept, so that too many are refused as such; the others are let go.
MOST_ROWS = MOST_READINGS + 1
Placed: TypeAlias = tuple[int, int, list[Any]]  # input, line, cells
Named: TypeAlias = tuple[str, Placed]  # subject, row


@dataclass(frozen=True, slots=True)
class Bad:
    """A place of an input where nothing could be read: a line from 1, or 0 for the input as a whole."""

    input: int
    line: int
    code: str


@dataclass(frozen=True, slots=True)
class Group:
    """All rows of one subject, in the order of the inputs."""

    subject: str
    rows: list[Placed]


def gathered(rows: Iterable[Named | Bad], folder: Path, meter: Meter | None = None) -> Iterator[Group | Bad]:
    """Yield the subjects of rows in any order, by way of files in `folder`: by a hash of the subject's name, then as
    they first appear. The order depends on the rows alone."""  # fmt: skip
    yield from _from_buckets(rows, folder, 0, meter)


def _from_buckets(rows: Iterable[Named | Bad], folder: Path, depth: int, meter: Meter | None) -> Iterator[Group | Bad]:
    *paths, bad = _partitioned(rows, folder, depth)
    yield from _bad_ones(bad)
    sizes = sum(path.stat().st_size for path in paths)
    share = (meter.total or 0) - meter.position if meter and depth == 0 else 0
    for path in paths:
        size = path.stat().st_size
        if size > LARGEST_BUCKET and depth < DEEPEST:
            yield from _from_buckets(_read(path), folder, depth + 1, None)
        else:
            yield from _groups(_read(path))
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
            subject, row = one
            files[_hash(subject, depth) % BUCKETS].write(orjson.dumps([subject, row]) + b"\n")
    return paths


def _hash(subject: str, depth: int) -> int:
    text = subject.encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(text, digest_size=8, salt=bytes([depth])).digest(), "big")


def _read(path: Path) -> Iterator[Named]:
    with path.open("rb") as file:
        for line in file:
            subject, (place, number, cells) = orjson.loads(line)
            yield subject, (place, number, cells)


def _bad_ones(path: Path) -> Iterator[Bad]:
    with path.open("rb") as file:
        for line in file:
            yield Bad(*orjson.loads(line))
    path.unlink()


def _groups(rows: Iterable[Named]) -> Iterator[Group]:
    found: dict[str, list[Placed]] = {}
    for subject, row in rows:
        held = found.setdefault(subject, [])
        if len(held) < MOST_ROWS:
            held.append(row)
    yield from (Group(subject, held) for subject, held in found.items())


def in_sequence(rows: Iterable[Named | Bad]) -> Iterator[Group | Bad]:
    """Yield the subjects of rows that are grouped by subject already; a subject that returns is named, not assessed.

    Raises WrongCall where that cannot be watched over in bounded memory: many subjects in no order.
    """
    seen, group, known = _Seen(), Group("", []), False
    for one in rows:
        if isinstance(one, Bad):
            yield one
            continue
        subject, row = one
        if subject != group.subject:
            if group.rows:
                yield group
            group, known = Group(subject, []), seen.before(subject)
        if known:
            yield Bad(row[0], row[1], "subject-returned")
        elif len(group.rows) < MOST_ROWS:
            group.rows.append(row)
    if group.rows:
        yield group


class _Seen:
    """Remembers subjects, or, once they are many, only the last one of an ascending order."""

    def __init__(self) -> None:
        self._hashes: set[int] = set()
        self._last, self._ascending = "", True

    def before(self, subject: str) -> bool:
        """Tell whether a subject was there before, and remember it."""
        if len(self._hashes) < MOST_REMEMBERED:
            found = (hashed := _hash(subject, 0)) in self._hashes
            self._hashes.add(hashed)
            self._ascending = self._ascending and (found or subject > self._last)
            self._last = max(self._last, subject)
            return found
        if not self._ascending:
            raise WrongCall(f"more than {MOST_REMEMBERED} subjects in no order; leave --grouped out")
        found, self._ascending = subject <= self._last, subject > self._last
        self._last = max(self._last, subject)
        return found
