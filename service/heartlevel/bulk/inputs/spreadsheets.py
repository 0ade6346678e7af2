"""Spreadsheets (.xlsx) as tables: the sheet in which a row names the fields, and below it a reading a row.

Rows above that one say nothing. A row without a reading of its own is passed over, as a log has them for days to come.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.bulk.inputs.grid import Grid
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.tables.arrow.arrays import texts_as_arrow
from heartlevel.tables.fields import is_laid_out
from heartlevel.tables.meanings import WORDS_SHEET, Mapped, meanings_of_words, missing_columns

ROWS_LOOKED_AT = 60  # for the one that names the fields
NOTHING = "()"  # the name of a column that has none, and nothing in it
TIME, CLOCK = "taken_at", len("7:10")


@dataclass(frozen=True, slots=True)
class SheetTable:
    """A sheet, and which of its rows, from 0, names the fields; of a column without a name that is its letters."""

    grid: Grid
    head: int
    names: list[str]


def header_of_spreadsheet(table: Input, mapped: Mapped) -> list[str]:
    """Return the names of the columns. Raises WrongCall where it is no spreadsheet, or holds several tables."""
    return _table_in(table, mapped).names


def labels_of_spreadsheet(table: Input, mapped: Mapped) -> list[str]:
    """Return where each column stands, as `Log!E (systolic)`."""
    sheet = _table_in(table, mapped)
    letters = sheet.grid.letters
    return [f"{sheet.grid.title}!{letter} ({name})" for letter, name in zip(letters, sheet.names, strict=True)]


def chunks_of_spreadsheet(table: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk]:
    """Yield the rows below the head that hold a reading, all cells as texts; words chosen as what they mean."""
    sheet = _table_in(table, mapped)
    rows = [number for number in range(sheet.head + 1, len(sheet.grid.rows)) if _is_filled(sheet, number)]
    if rows:
        words = meanings_of_words(_words_in(table))
        columns = [texts_as_arrow(_cells(sheet, rows, column, mapped, words)) for column in range(len(sheet.names))]
        yield Chunk(columns, np.array(rows) + 1)
    if meter:
        meter.advance(table.size or 0)


def _table_in(table: Input, mapped: Mapped) -> SheetTable:
    sheets = [grid for grid in _grids(table) if grid.visible]
    named = [sheet for grid in sheets if (sheet := _headed(grid, mapped))]
    if len(named) > 1:
        titles = ", ".join(repr(sheet.grid.title) for sheet in named)
        raise WrongCall(f"{table.name}: more than one sheet holds a table: {titles}; leave one of them in the file")
    if named:
        return named[0]
    first = next((grid for grid in sheets if any(map(any, grid.rows))), None)
    if first is None:
        raise WrongCall(f"{table.name}: nothing stands in the sheets")
    return SheetTable(first, 0, _names(first, 0))


def _grids(table: Input) -> list[Grid]:
    try:
        from heartlevel.bulk.inputs.workbook import grids_of
    except ModuleNotFoundError as missing:
        raise WrongCall(f"{missing.name} is not installed: pip install 'heartlevel[sheets]'") from missing
    return grids_of(table)


def _headed(grid: Grid, mapped: Mapped) -> SheetTable | None:
    """Return a sheet with the first of its rows that names all that every row needs; None if none does."""
    for number in range(min(len(grid.rows), ROWS_LOOKED_AT)):
        names = _names(grid, number)
        if not missing_columns(names, mapped):
            return SheetTable(grid, number, names)
    return None


def _names(grid: Grid, head: int) -> list[str]:
    """Return what a row names the columns; one without a name has none only if nothing stands in it below."""
    below = grid.rows[head + 1 :]
    filled = [any(row[column] is not None for row in below) for column in range(len(grid.letters))]
    named = zip(grid.rows[head], grid.letters, filled, strict=True)
    return [name.strip() if name else f"column {letter}" if holds else NOTHING for name, letter, holds in named]


def _is_filled(sheet: SheetTable, row: int) -> bool:
    """Tell whether something stands in a row that neither was there beforehand nor is shared with other rows."""
    return any(
        cell is not None and not is_laid_out(name) and (row, column) not in sheet.grid.shared
        for column, (name, cell) in enumerate(zip(sheet.names, sheet.grid.rows[row], strict=True))
    )


def _words_in(table: Input) -> Sequence[Sequence[str | None]]:
    return next((grid.rows for grid in _grids(table) if grid.title == WORDS_SHEET), [])


def _cells(
    sheet: SheetTable, rows: Sequence[int], column: int, mapped: Mapped, words: dict[str, dict[str, str]]
) -> list[str | None]:
    cells = [sheet.grid.rows[row][column] for row in rows]
    meaning = mapped.meaning_of(sheet.names[column])
    if meaning is None:
        return cells
    if meaning.to == TIME:
        return [cell and _clock(cell) for cell in cells]
    known = words.get(meaning.to, {})
    return [cell and known.get(cell.strip().casefold(), cell) for cell in cells]


def _clock(cell: str) -> str:
    """Return a time of day that was typed with one digit of the hour as tables have it; anything else as it is."""
    return f"0{cell}" if len(cell) == CLOCK and cell[1] == ":" else cell
