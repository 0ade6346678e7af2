"""Logs filled in as a person does: cells of a workbook are written under the names in its hidden row."""

from io import BytesIO
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.workbook import Workbook

from support import assess_in_process, rules


class FilledLog:
    """The sheet of a log, opened by another library than the one it was written with."""

    def __init__(self, content: bytes) -> None:
        self.workbook = load_workbook(BytesIO(content))
        self.sheet = self.workbook.worksheets[0]
        self.head = next(row[0].row for row in self.sheet.iter_rows() if "systolic" in [cell.value for cell in row])
        self.names = [cell.value for cell in self.sheet[self.head]]

    def put(self, row: int, name: str, value: Any) -> str:
        """Write into the row of a reading, from 0; in a merged cell where it begins. Return the cell's coordinate."""
        cell = self.sheet.cell(self.head + 1 + row, self.names.index(name) + 1)
        merged = next((one for one in self.sheet.merged_cells.ranges if cell.coordinate in one), None)
        first = self.sheet.cell(merged.min_row, merged.min_col) if merged else cell
        first.value = value
        return first.coordinate

    def save(self, path: Path) -> Path:
        self.workbook.save(path)
        return path


def workbook(path: Path, *rows: list[Any], title: str = "Readings") -> Path:
    """A spreadsheet of somebody's own."""
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def assessed(path: Path, *options: str):
    return assess_in_process(str(path), "--workers", "1", *options)


def languages() -> list[str]:
    return sorted(rules().ruleset.wording)
