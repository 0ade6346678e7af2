"""Runs of whole lines of a file, and those of them that can be split into cells in one go."""

from collections.abc import Iterator
from typing import IO

import numpy as np
import pyarrow
from pyarrow import csv

from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.intake.ndjson import LineTooLong

LONGEST_ROW = 1024 * 1024
PIECE = 1024 * 1024
LINE_END = ord("\n")


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
        table = csv.read_csv(
            pyarrow.BufferReader(run),
            csv.ReadOptions(use_threads=False, block_size=len(run) + 1, column_names=names),
            csv.ParseOptions(delimiter=delimiter, quote_char=False),
            csv.ConvertOptions(column_types=dict.fromkeys(names, pyarrow.string()), strings_can_be_null=False),
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
