"""CSV files in chunks: runs of whole lines, split into cells in one go where they are plain, else read row by row.

A row that cannot be read costs no other, and every row keeps its line.
"""

import csv
from collections.abc import Iterator
from contextlib import suppress
from typing import IO, Any

import numpy as np
import pyarrow
from pyarrow import csv as arrow_csv

from heartlevel.bulk.inputs.chunks import BadRow, Chunk
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.opening import Damaged, Meter
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.intake.texts.legible_table import DELIMITERS
from heartlevel.tables.arrow.arrays import texts_as_arrow
from heartlevel.tables.meanings import Mapped

LONGEST_ROW = PIECE = 1024 * 1024
LINE_END = ord("\n")
MOST_ROWS, MOST_CHARACTERS = 16_384, 4 * 1024 * 1024


def header_of_csv(table: Input, mapped: Mapped) -> list[str]:
    """Return the names in the first line; none if the file cannot be read. Raises WrongCall where the line is no CSV."""
    header = ""
    with suppress(Damaged), table.open() as file:
        header = _header(_Lines(file))
    try:
        return _cells(header, _delimiter(header, mapped))
    except csv.Error as error:  # its text holds nothing of the line
        raise WrongCall(f"{table.name}: its first line names no columns, as it is no CSV: {error}") from None


def chunks_of_csv(table: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk | BadRow]:
    """Yield the rows after the header, all cells as texts; raises Damaged after what could be read.

    What is plain is split a run of lines at a time, anything else row by row.
    """
    with table.open(meter) as file:
        lines = _Lines(file)
        header = _header(lines)
        delimiter = _delimiter(header, mapped)
        width = len(_cells(header, delimiter))
        reader = csv.reader(lines, delimiter=delimiter, strict=False)
        while lines.more():
            run = lines.run if lines.left is None else b""
            plain = split(run, lines.first, delimiter, width) if run and isinstance(run, bytes) else None
            if plain is not None:
                lines.left = []
                yield plain
            else:
                yield from _row_by_row(lines, reader, width)


def _header(lines: "_Lines") -> str:
    return next(lines, "").removeprefix("\ufeff") if lines.more() and lines.first == 1 else ""


def _row_by_row(lines: "_Lines", reader: Any, width: int) -> Iterator[Chunk | BadRow]:
    """Yield the rows that begin in the run of lines being read, a chunk at a time."""
    held, numbers, size = list[list[str]](), list[int](), 0
    for row in _rows(lines, reader, width):
        if isinstance(row, BadRow):
            yield row
            continue
        held.append(row)
        numbers.append(lines.began)
        size += sum(map(len, row))
        if len(held) >= MOST_ROWS or size >= MOST_CHARACTERS:
            yield _chunk(held, numbers)
            held, numbers, size = [], [], 0
    if held:
        yield _chunk(held, numbers)


def _chunk(rows: list[list[str]], lines: list[int]) -> Chunk:
    return Chunk([texts_as_arrow(column) for column in zip(*rows, strict=True)], np.array(lines))


def _rows(lines: "_Lines", reader: Any, width: int) -> Iterator[list[str] | BadRow]:
    while lines.left != []:
        lines.began = 0
        try:
            cells = next(reader, None)
        except csv.Error:
            yield from lines.taken()
            yield BadRow(lines.line, "not-csv")
            continue
        yield from lines.taken()
        if cells is None:
            return
        if cells and len(cells) != width:
            yield BadRow(lines.line, "cells-differ")
        elif cells:
            yield cells


class _Lines:
    """Feeds a CSV reader whole lines that are not blank; keeps their numbers and what was wrong with some."""

    def __init__(self, file: IO[bytes]) -> None:
        self._runs = runs_of(file)
        self.run: bytes | LineTooLong = b""
        self.left: list[bytes | LineTooLong] | None = []  # lines of the run, the next one last; None if none was read
        self.first = self.line = self.began = 0  # of the run; last read; where the row being read begins
        self._next, self._bad = 1, list[BadRow]()

    def more(self) -> bool:
        """Go on to the next run if this one is used up; tell whether there is anything left."""
        if self.left == []:
            self.first, self.run = next(self._runs, (self.first, b""))
            self.left = None if self.run else []
        return self.left != []

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        while self.more():
            if self.left is None:
                self.left, self._next = _lines_of(self.run), self.first
            line = self.left.pop()
            self._next += 1
            if not isinstance(line, LineTooLong) and not line.strip():
                continue
            self.line = self._next - 1
            if isinstance(line, LineTooLong):
                self._bad.append(BadRow(self.line, "line-too-long"))
                continue
            try:
                text = line.decode()
            except UnicodeDecodeError:
                self._bad.append(BadRow(self.line, "not-utf-8"))
                continue
            self.began = self.began or self.line
            return text + "\n"
        raise StopIteration

    def taken(self) -> list[BadRow]:
        """Return what was wrong with lines, once."""
        bad, self._bad = self._bad, []
        return bad


def _lines_of(run: bytes | LineTooLong) -> list[bytes | LineTooLong]:
    if isinstance(run, LineTooLong):
        return [run]
    lines = run.removesuffix(b"\n").split(b"\n")
    return [LineTooLong() if len(line) > LONGEST_ROW else line for line in reversed(lines)]


def _delimiter(header: str, mapped: Mapped) -> str:
    return mapped.delimiter or max(DELIMITERS, key=header.count)


def _cells(header: str, delimiter: str) -> list[str]:
    return next(csv.reader([header], delimiter=delimiter), [])


def runs_of(file: IO[bytes]) -> Iterator[tuple[int, bytes | LineTooLong]]:
    """Yield runs of whole lines, each with its first line's number. The file's first line is alone, as is one too long."""
    number, rest, overlong = 1, b"", False
    while piece := file.read(PIECE):
        end = piece.rfind(b"\n") + 1
        if end and overlong:
            yield number, LineTooLong()
            start, number, overlong = piece.find(b"\n") + 1, number + 1, False
            rest, piece, end = b"", piece[start:], end - start
        run, rest = rest + piece[:end] if end else b"", piece[end:] if end else rest + piece
        if len(rest) > LONGEST_ROW:
            rest, overlong = b"", True
        for lines in _first_apart(run) if number == 1 else [run]:
            if lines:
                yield number, lines
                number += lines.count(b"\n")
    if overlong or rest:
        yield number, LineTooLong() if overlong else rest


def _first_apart(run: bytes) -> list[bytes]:
    end = run.find(b"\n") + 1
    return [run[:end], run[end:]]


def split(run: bytes, first: int, delimiter: str, width: int) -> Chunk | None:
    """Return the rows of a run of lines; None unless each is sure to be what a reader of CSV makes of it."""
    if b"\r" in run:
        run = run.replace(b"\r\n", b"\n")
    if not _is_plain(run, delimiter, width):
        return None
    names = [str(column) for column in range(width)]
    try:
        table = arrow_csv.read_csv(
            pyarrow.BufferReader(run),
            arrow_csv.ReadOptions(use_threads=False, block_size=len(run) + 1, column_names=names),
            arrow_csv.ParseOptions(delimiter=delimiter, quote_char=False),
            arrow_csv.ConvertOptions(column_types=dict.fromkeys(names, pyarrow.string()), strings_can_be_null=False),
        )
    except pyarrow.ArrowInvalid:  # rows of another width, or not UTF-8
        return None
    return Chunk([column.combine_chunks() for column in table.columns], np.arange(first, first + len(table)))


def _is_plain(run: bytes, delimiter: str, width: int) -> bool:
    """Tell whether there are no quotes, no lines that are blank or too long, and no odd line ends."""
    if len(delimiter.encode()) > 1 or any(mark in run for mark in (b'"', b"\r", b"\0", b"\n\n")) or run.startswith(b"\n"):
        return False
    blank = delimiter.isspace() and (run.startswith(delimiter.encode()) or f"\n{delimiter}".encode() in run)
    ends = np.flatnonzero(np.frombuffer(run + b"\n", dtype=np.uint8) == LINE_END)
    return width > 1 and not blank and int(np.diff(ends, prepend=-1).max()) <= LONGEST_ROW
