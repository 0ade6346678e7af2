"""A workbook (.xlsx) as grids of texts. It is held in memory whole: large tables are better sent as CSV or Parquet."""

import struct
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from lzma import LZMAError
from pathlib import Path
from re import compile as pattern
from typing import Any
from zipfile import BadZipFile, ZipFile

from openpyxl import load_workbook
from openpyxl.utils.cell import get_column_letter, range_boundaries
from openpyxl.utils.exceptions import InvalidFileException

from heartlevel.bulk.inputs.grid import Grid
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.wrong_call import WrongCall

LARGEST = 64 * 1024 * 1024  # bytes, once decompressed
MOST_CELLS = 2_000_000  # of a sheet, those that are empty or merged included
MERGED = pattern(rb'<mergeCell\s[^>]*ref="([A-Z]+[0-9]+:[A-Z]+[0-9]+)"')
# No part of an Office Open XML package may (ECMA-376, part 2, from memory); entities could grow without end.
DECLARED = tuple("<!DOCTYPE".encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be"))
# What a damaged workbook raises is of many kinds: of its container and how that is compressed (RuntimeError where it wants
# a password, or is compressed in a way that is not known), of its XML, of what its parts say of each other.
DAMAGES = (
    BadZipFile, zlib.error, LZMAError, EOFError, RuntimeError, struct.error,
    InvalidFileException, SyntaxError, ValueError, LookupError, TypeError, AttributeError, OSError,
)  # fmt: skip
DAY_LONG = timedelta(days=1)


class _Unfit(Exception):
    """Why a file cannot be read as a workbook."""


def grids_of(table: Input) -> list[Grid]:
    """Return the sheets of a workbook. Raises WrongCall where it is none, or too large."""
    assert table.path is not None
    state = table.path.stat()
    try:
        return _grids(table.path, state.st_mtime_ns, state.st_size)
    except _Unfit as why:
        raise WrongCall(f"{table.name}: {why}") from why


@lru_cache(maxsize=4)
def _grids(path: Path, changed: int, size: int) -> list[Grid]:
    """Read a file once, as long as it stays as it is: its head is looked at before its rows."""
    _raise_if_unfit(path)
    try:
        with path.open("rb") as stored:
            formulas = load_workbook(stored)
        with path.open("rb") as stored:
            values = load_workbook(stored, data_only=True)
    except DAMAGES as error:
        raise _Unfit("not a whole spreadsheet") from error
    return [_grid(sheet, values[sheet.title]) for sheet in formulas.worksheets]


def _raise_if_unfit(path: Path) -> None:
    """Raise _Unfit where reading it would take more memory than a log or a small table ever needs."""
    try:
        with ZipFile(path) as archive:
            parts = archive.infolist()
            if sum(part.file_size for part in parts) > LARGEST:
                raise _Unfit(f"larger than {LARGEST} bytes once unpacked; send it as CSV or Parquet")
            for content in (archive.read(part) for part in parts if not part.is_dir()):
                if any(declared in content for declared in DECLARED):
                    raise _Unfit("it declares a document type, which no spreadsheet does")
                if sum(map(_area, MERGED.findall(content))) > MOST_CELLS:
                    raise _Unfit(f"more than {MOST_CELLS} cells are merged in a sheet")
    except DAMAGES as error:
        raise _Unfit("not a whole spreadsheet") from error


def _area(reference: bytes) -> int:
    boundaries: tuple[int, int, int, int] = range_boundaries(reference.decode())  # type: ignore[assignment]
    left, top, right, bottom = boundaries
    return (right - left + 1) * (bottom - top + 1)


def _grid(formulas: Any, values: Any) -> Grid:
    height, width = formulas.max_row, formulas.max_column
    if height * width > MOST_CELLS:
        raise _Unfit(f"sheet {formulas.title!r} reaches over more than {MOST_CELLS} cells; send it as CSV or Parquet")
    rows = [
        [_text(typed, shown) for typed, shown in zip(*pair, strict=True)]
        for pair in zip(*(sheet.iter_rows(max_row=height, max_col=width) for sheet in (formulas, values)), strict=True)
    ]
    shared = set(_spread(rows, formulas.merged_cells.ranges))
    letters = [get_column_letter(column + 1) for column in range(width)]
    return Grid(formulas.title, formulas.sheet_state == "visible", letters, rows, shared)


def _spread(rows: list[list[str | None]], ranges: Any) -> Iterator[tuple[int, int]]:
    """Write the text of each merged cell into all cells it is made of; yield those that it shares among rows."""
    for merged in ranges:
        text = rows[merged.min_row - 1][merged.min_col - 1]
        for row in range(merged.min_row - 1, merged.max_row):
            for column in range(merged.min_col - 1, merged.max_col):
                rows[row][column] = text
                if merged.max_row > merged.min_row:
                    yield row, column


def _text(typed: Any, shown: Any) -> str | None:
    """Return what a cell says; of a formula its last result, and where none is stored the formula itself."""
    value = typed.value if shown.value is None else shown.value
    match value:
        case None:
            return None
        case bool():
            return str(value).lower()
        case datetime() if "h" in str(typed.number_format).lower() or value.time() != time():
            return _to_the_second(value).isoformat()
        case datetime():
            return value.date().isoformat()
        case date():
            return value.isoformat()
        case time():
            return _to_the_second(datetime.combine(date(2000, 1, 1), value)).time().isoformat()
        case timedelta() if timedelta() <= value < DAY_LONG:
            return _to_the_second(datetime(2000, 1, 1) + value).time().isoformat()
        case float() if value.is_integer():
            return f"{value:.0f}"
        case _:
            return str(value).strip() or None


def _to_the_second(moment: datetime) -> datetime:
    """Return a time to the nearest second: as a fraction of a day it is stored a little off."""
    return (moment + timedelta(microseconds=500_000)).replace(microsecond=0)
