"""The inputs cut into parts: as much as one process assesses in one go, the same whoever assesses it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from pathlib import Path
from typing import TypeAlias

import orjson

from heartlevel.bulk.arrays import requests_of
from heartlevel.bulk.grouping import Bad, Group, Named, gathered, in_sequence
from heartlevel.bulk.inputs import LINES, Input
from heartlevel.bulk.mapping import Mapped
from heartlevel.bulk.opening import Damaged, Meter
from heartlevel.bulk.rows import subject_of
from heartlevel.bulk.tables import BadRow, Layout, rows_of
from heartlevel.intake.ndjson import LineTooLong

MOST_ITEMS = 128
MOST_BYTES = 2 * 1024 * 1024
CELLS_OF_A_ROW = 200  # bytes a row is taken for, where it is not text


@dataclass(frozen=True, slots=True)
class Line:
    """A request as it stands in an input."""

    input: int
    line: int
    text: bytes | LineTooLong


Item: TypeAlias = Line | Group | Bad


@dataclass(slots=True)
class Part:
    """A run of items, and how far the inputs were read when it was cut."""

    number: int
    items: list[Item] = field(default_factory=list)
    position: int = 0

    def digest(self) -> str:
        """Return a hash of what the part holds."""
        hashed = blake2b(digest_size=16)
        for item in self.items:
            hashed.update(_written(item))
        return hashed.hexdigest()


def _written(item: Item) -> bytes:
    if isinstance(item, Line):
        text = item.text if isinstance(item.text, bytes) else b"\x00"
        return b"%d %d %d " % (item.input, item.line, len(text)) + text
    return orjson.dumps([item.subject, item.rows] if isinstance(item, Group) else [item.input, item.line, item.code])


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
    part, size = Part(0), 0
    for item in _items(source, folder, meter):
        part.items.append(item)
        size += _size(item)
        if len(part.items) >= MOST_ITEMS or size >= MOST_BYTES:
            part.position = meter.position
            yield part
            part, size = Part(part.number + 1), 0
    if part.items:
        part.position = meter.position
        yield part


def _size(item: Item) -> int:
    if isinstance(item, Group):
        return CELLS_OF_A_ROW * len(item.rows)
    return len(item.text) if isinstance(item, Line) and isinstance(item.text, bytes) else 0


def _items(source: Source, folder: Path, meter: Meter) -> Iterator[Item]:
    for place, one in enumerate(source.inputs):
        if one.format == LINES:
            yield from _lines(place, one, meter)
    if not source.layouts:
        return
    rows = _rows(source, meter)
    yield from in_sequence(rows) if source.grouped else gathered(rows, folder, meter)


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
        for row in rows_of(source.inputs[place], source.mapped, meter):
            if isinstance(row, BadRow):
                yield Bad(place, row.line, row.code)
                continue
            subject = subject_of(row[1], layout)
            yield (subject, (place, *row)) if subject else Bad(place, row[0], "no-subject")
