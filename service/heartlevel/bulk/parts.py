"""The inputs cut into parts: as much as one process assesses in one go, the same whoever assesses it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import TypeAlias

import orjson

from heartlevel.bulk.arrays import requests_of
from heartlevel.bulk.chunks import BadRow
from heartlevel.bulk.grouping import Bad, gathered
from heartlevel.bulk.inputs import LINES, Input
from heartlevel.bulk.opening import Damaged, Meter
from heartlevel.bulk.sequence import in_sequence
from heartlevel.bulk.sheets import Named, Sheets, as_bytes, cut, named
from heartlevel.bulk.tables import chunks_of, subjects_of
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.tables.meanings import Layout, Mapped

MOST_ITEMS, MOST_BYTES = 128, 2 * 1024 * 1024  # requests
MOST_SUBJECTS, MOST_ROWS = 1024, 16_384  # of tables


@dataclass(frozen=True, slots=True)
class Line:
    """A request as it stands in an input."""

    input: int
    line: int
    text: bytes | LineTooLong


@dataclass(frozen=True, slots=True)
class Rows:
    """All rows of some subjects, written as bytes, a sheet for each input."""

    subjects: list[str]
    by_input: list[tuple[int, bytes]]


Item: TypeAlias = Line | Bad | Rows


@dataclass(slots=True)
class Part:
    """A run of items, and how far the inputs were read when it was cut."""

    number: int
    items: list[Item] = field(default_factory=list)
    position: int = 0

    def digest(self) -> str:
        """Return a hash of what the part holds."""
        hashed = sha256()  # processors have instructions for it
        for item in self.items:
            for piece in _written(item):
                hashed.update(b"%d " % len(piece) + piece)
        return hashed.hexdigest()


def _written(item: Item) -> Iterator[bytes]:
    if isinstance(item, Line):
        yield b"%d %d " % (item.input, item.line)
        yield item.text if isinstance(item.text, bytes) else b"\x00"
    elif isinstance(item, Bad):
        yield orjson.dumps([item.input, item.line, item.code])
    else:
        yield orjson.dumps([item.subjects, [number for number, _ in item.by_input]])
        yield from (content for _, content in item.by_input)


@dataclass(frozen=True, slots=True)
class Source:
    """All that is to be read, and how."""

    inputs: Sequence[Input]
    layouts: Mapping[int, Layout]
    mapped: Mapped
    grouped: bool


def parts_of(source: Source, folder: Path, meter: Meter) -> Iterator[Part]:
    """Yield the parts in order: requests of the JSON inputs as they come, then the subjects of all tables together.

    `folder` takes the tables' rows meanwhile, unless they are grouped by subject.
    """
    for number, items in enumerate(_together(_items(source, folder, meter))):
        yield Part(number, items, meter.position)


def _together(items: Iterator[Item]) -> Iterator[list[Item]]:
    """Yield as many items as go into one part; rows, which are cut already, are a part of their own."""
    held, size = list[Item](), 0
    for item in items:
        if isinstance(item, Rows):
            if held:
                yield held
            yield [item]
            held, size = [], 0
            continue
        held.append(item)
        size += _size(item)
        if len(held) >= MOST_ITEMS or size >= MOST_BYTES:
            yield held
            held, size = [], 0
    if held:
        yield held


def _size(item: Item) -> int:
    return len(item.text) if isinstance(item, Line) and isinstance(item.text, bytes) else 0


def _items(source: Source, folder: Path, meter: Meter) -> Iterator[Item]:
    for place, one in enumerate(source.inputs):
        if one.format == LINES:
            yield from _lines(place, one, meter)
    if not source.layouts:
        return
    rows = _rows(source, meter)
    brought = in_sequence(rows) if source.grouped else gathered(rows, folder, meter)
    for found in cut(brought, MOST_ROWS, MOST_SUBJECTS):
        if isinstance(found, Sheets):
            yield Rows(found.subjects, [(number, as_bytes(some)) for number, some in found.by_input])
        else:
            yield found


def _lines(place: int, one: Input, meter: Meter) -> Iterator[Item]:
    number = 0
    try:
        with one.open(meter) as file:
            for number, text in requests_of(file):
                yield Line(place, number, text)
    except Damaged:
        yield Bad(place, number, "damaged")


def _rows(source: Source, meter: Meter) -> Iterator[Named | Bad]:
    for place, layout in source.layouts.items():
        for chunk in chunks_of(source.inputs[place], source.mapped, meter):
            if isinstance(chunk, BadRow):
                yield Bad(place, chunk.line, chunk.code)
                continue
            subjects, nobodys = subjects_of(chunk, layout)
            yield from (Bad(place, line, "no-subject") for line in nobodys.tolist())
            rows = named(place, chunk.cells, chunk.lines, subjects)
            if len(rows.rows):
                yield rows
