"""CSV files in chunks. A row that cannot be read costs no other, and every row keeps its line."""

import csv
from collections.abc import Iterator

import numpy as np

from heartlevel.bulk.chunks import BadRow, Chunk
from heartlevel.bulk.inputs import Input
from heartlevel.bulk.mapping import Mapped
from heartlevel.bulk.opening import Meter
from heartlevel.intake.ndjson import LineTooLong, lines_of

LONGEST_ROW = 1024 * 1024
DELIMITERS = ",;\t|"
MOST_ROWS, MOST_CHARACTERS = 16_384, 4 * 1024 * 1024


def header_of_csv(one: Input, mapped: Mapped) -> list[str]:
    """Return the names in the first line; none if it cannot be read."""
    first = next(_lines(one, None), None)
    return _split(first[1], _delimiter(first[1], mapped)) if first and isinstance(first[1], str) else []


def chunks_of_csv(one: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk | BadRow]:
    """Yield the rows after the header, all cells as texts."""
    source = _Fed(_lines(one, meter))
    header = next(source, "")
    delimiter = _delimiter(header, mapped)
    width = len(_split(header, delimiter))
    held, lines = list[list[str]](), list[int]()
    try:
        for row in _rows(source, delimiter, width):
            if isinstance(row, BadRow):
                yield row
                continue
            held.append(row)
            lines.append(source.began)
            if len(held) >= MOST_ROWS or source.characters >= MOST_CHARACTERS:
                yield _chunk(held, lines)
                held, lines, source.characters = [], [], 0
    finally:
        if held:  # a file cut off costs only what is missing
            yield _chunk(held, lines)


def _chunk(rows: list[list[str]], lines: list[int]) -> Chunk:
    import pyarrow

    return Chunk([pyarrow.array(column, pyarrow.string()) for column in zip(*rows, strict=True)], np.array(lines))


def _rows(source: "_Fed", delimiter: str, width: int) -> Iterator[list[str] | BadRow]:
    reader = csv.reader(source, delimiter=delimiter, strict=False)
    while True:
        source.began = 0
        try:
            cells = next(reader, None)
        except csv.Error:
            yield from source.taken()
            yield BadRow(source.line, "not-csv")
            continue
        if source.bad:
            yield from source.taken()
        if cells is None:
            return
        if cells and len(cells) != width:
            yield BadRow(source.line, "cells-differ")
        elif cells:
            yield cells


class _Fed:
    """Feeds a CSV reader whole lines; keeps their numbers and what was wrong with some."""

    def __init__(self, lines: Iterator[tuple[int, str | BadRow]]) -> None:
        self._lines, self.bad = lines, list[BadRow]()
        self.line = self.began = 0  # of the line last read; where the row being read begins
        self.characters = 0

    def __iter__(self) -> "_Fed":
        return self

    def __next__(self) -> str:
        for number, text in self._lines:
            self.line = number
            if isinstance(text, str):
                self.began = self.began or number
                self.characters += len(text)
                return text
            self.bad.append(text)
        raise StopIteration

    def taken(self) -> list[BadRow]:
        bad, self.bad = self.bad, []
        return bad


def _lines(one: Input, meter: Meter | None) -> Iterator[tuple[int, str | BadRow]]:
    with one.open(meter) as file:
        for number, line in lines_of(file, LONGEST_ROW):
            if isinstance(line, LineTooLong):
                yield number, BadRow(number, "line-too-long")
                continue
            try:
                yield number, line.decode("utf-8-sig" if number == 1 else "utf-8") + "\n"
            except UnicodeDecodeError:
                yield number, BadRow(number, "not-utf-8")


def _delimiter(header: str, mapped: Mapped) -> str:
    return mapped.delimiter or max(DELIMITERS, key=header.count)


def _split(header: str, delimiter: str) -> list[str]:
    return next(csv.reader([header], delimiter=delimiter), [])
