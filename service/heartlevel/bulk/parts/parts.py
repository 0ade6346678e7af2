"""The inputs cut into parts: as much as one process assesses in one go, the same whoever assesses it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import chain
from pathlib import Path
from typing import TypeAlias

import numpy as np
import orjson

from heartlevel.bulk.columns.layouts import chunks_of, subjects_of
from heartlevel.bulk.inputs.chunks import BadRow
from heartlevel.bulk.inputs.input import Input, RequestFormat
from heartlevel.bulk.inputs.opening import Damaged, Meter
from heartlevel.bulk.parts.grouping import Unreadable, gathered
from heartlevel.bulk.parts.sequence import in_sequence
from heartlevel.bulk.parts.sheets import NamedRows, Sheets, as_bytes, cut_sheets, name_rows
from heartlevel.intake.ndjson import RequestText
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.rows import rows_alone

MOST_ITEMS, MOST_BYTES = 128, 2 * 1024 * 1024  # requests
MOST_SUBJECTS, MOST_ROWS = 1024, 16_384  # of tables


@dataclass(frozen=True, slots=True)
class SentText:
    """The text of a request, with the number of its input and the line it begins on."""

    input: int
    line: int
    text: RequestText


@dataclass(frozen=True, slots=True)
class SubjectSheets:
    """All rows of some subjects, a sheet for each input, as bytes with the input's number."""

    subjects: list[str]
    by_input: list[tuple[int, bytes]]


PartContent: TypeAlias = SubjectSheets | list[SentText | Unreadable]


@dataclass(slots=True)
class BulkPart:
    """What one process assesses in one go, and how far the inputs were read when it was cut."""

    number: int
    content: PartContent
    position: int = 0

    def digest(self) -> str:
        """Return a hash of the content."""
        hashed = sha256()  # processors have instructions for it
        for item in self.content if isinstance(self.content, list) else [self.content]:
            for piece in _hashed_pieces(item):
                hashed.update(b"%d " % len(piece) + piece)
        return hashed.hexdigest()


def _hashed_pieces(item: SubjectSheets | SentText | Unreadable) -> Iterator[bytes]:
    if isinstance(item, SentText):
        yield b"%d %d " % (item.input, item.line)
        yield item.text if isinstance(item.text, bytes) else b"\x00"
    elif isinstance(item, Unreadable):
        yield orjson.dumps([item.input, item.line, item.code])
    else:
        yield orjson.dumps([item.subjects, [number for number, _ in item.by_input]])
        yield from (content for _, content in item.by_input)


@dataclass(frozen=True, slots=True)
class BulkInputs:
    """All that is to be read; `layouts` are those of the tables, by the input's number."""

    inputs: Sequence[Input]
    layouts: Mapping[int, Layout]
    mapped: Mapped
    grouped: bool


def parts_of(inputs: BulkInputs, folder: Path, meter: Meter) -> Iterator[BulkPart]:
    """Yield the parts in order: requests as they come, then the subjects of all tables together.

    `folder` takes the tables' rows meanwhile, unless they are grouped by subject.
    """
    for number, content in enumerate(_contents(inputs, folder, meter)):
        yield BulkPart(number, content, meter.position)


def _contents(inputs: BulkInputs, folder: Path, meter: Meter) -> Iterator[PartContent]:
    """Yield the contents of parts: sheets, which are cut already, or as many other items as go into one part."""
    items, size = list[SentText | Unreadable](), 0
    for item in _items(inputs, folder, meter):
        if not isinstance(item, SubjectSheets):
            items.append(item)
            size += len(item.text) if isinstance(item, SentText) and isinstance(item.text, bytes) else 0
        if items and (isinstance(item, SubjectSheets) or len(items) >= MOST_ITEMS or size >= MOST_BYTES):
            yield items
            items, size = [], 0
        if isinstance(item, SubjectSheets):
            yield item
    if items:
        yield items


def _items(inputs: BulkInputs, folder: Path, meter: Meter) -> Iterator[SubjectSheets | SentText | Unreadable]:
    for number, source in enumerate(inputs.inputs):
        if isinstance(source.format, RequestFormat):
            yield from request_texts_of(number, source, source.format, meter)
    if not inputs.layouts:
        return
    rows = chain.from_iterable(rows_of_table(inputs, number, meter) for number in inputs.layouts)
    by_subject = in_sequence(rows) if inputs.grouped else gathered(rows, folder, meter)
    for item in cut_sheets(by_subject, MOST_ROWS, MOST_SUBJECTS):
        if isinstance(item, Sheets):
            yield SubjectSheets(item.subjects, [(number, as_bytes(sheet)) for number, sheet in item.by_input])
        else:
            yield item


def request_texts_of(number: int, source: Input, wire: RequestFormat, meter: Meter) -> Iterator[SentText | Unreadable]:
    """Yield the text of each request of an input."""
    line = 0
    try:
        with source.open(meter) as file:
            for line, text in wire.split(file):
                yield SentText(number, line, text)
    except Damaged:
        yield Unreadable(number, line, "damaged")


def rows_of_table(inputs: BulkInputs, number: int, meter: Meter) -> Iterator[NamedRows | Unreadable]:
    """Yield the rows of a table, some thousand at a time, with the names of their subjects; what names none is apart."""
    layout = inputs.layouts[number]
    for chunk in chunks_of(inputs.inputs[number], inputs.mapped, meter):
        if isinstance(chunk, BadRow):
            yield Unreadable(number, chunk.line, chunk.code)
            continue
        subjects, nobodys_lines = subjects_of(chunk, layout)
        nobodys = rows_alone(chunk.cells, np.flatnonzero(np.isin(chunk.lines, nobodys_lines)), layout, inputs.mapped)
        for line, request in zip(nobodys_lines.tolist(), nobodys, strict=True):
            yield Unreadable(number, line, "no-subject", request)
        rows = name_rows(number, chunk.cells, chunk.lines, subjects)
        if len(rows.rows):
            yield rows
