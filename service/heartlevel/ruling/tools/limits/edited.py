"""An edited table of limits, read back: what differs from the rules in force, as changes of a layer, or what is wrong."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from marshmallow import ValidationError, fields

from heartlevel.intake.faults import abridged, near
from heartlevel.intake.fields import Number
from heartlevel.ruling.files.source import DECIMAL_POINT
from heartlevel.ruling.language.faults import KeyPath, RuleFault
from heartlevel.ruling.tools.limits.table import (
    HEAD,
    MOST_CATEGORIES,
    PARTS_OF_CATEGORY,
    SETTINGS_WITH_CATEGORIES,
    UNPUBLISHED,
    category_row,
    cells_of,
    fields_of_category,
    numbers_of_guidelines,
    path_of,
    value_at,
)

PASSED_OVER = ("unit",)  # columns for people
DELIMITERS = ",;\t"


@dataclass(slots=True)
class EditedTable:
    """The cells of a file, by row and guideline, and where each stands; mistakes are in `faults`."""

    file: str
    cells: dict[tuple[str, str], str] = field(default_factory=dict)
    written_at: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)  # row and column, from 1
    faults: list[RuleFault] = field(default_factory=list)

    def refuse(self, at: tuple[int, int], code: str, detail: str, hint: str | None = None) -> None:
        """Add a mistake at a row and column."""
        self.faults.append(RuleFault(self.file, *at, code, detail, hint))

    def refuse_cell(self, cell: tuple[str, str], code: str, detail: str, hint: str | None = None) -> None:
        """Add a mistake in a cell; one that is not in the file is named at its top."""
        row, guideline = cell
        self.refuse(self.written_at.get(cell, (1, 1)), code, f"row {row}, column {guideline}: {detail}", hint)


def table_in(text: str, shown_as: str, guidelines: Sequence[str]) -> EditedTable:
    """Read a table as CSV, however a spreadsheet parts its cells."""
    table = EditedTable(shown_as)
    rows = _rows(table, text.removeprefix("\ufeff"))
    if not rows or not rows[0] or rows[0][0].strip().lower() != HEAD:
        table.refuse((1, 1), "missing", f"the first row begins with '{HEAD}', then has the guidelines")
        return table
    columns = _columns(table, rows[0], guidelines)
    known = _known_rows()
    lines: dict[str, int] = {}
    for line, row in enumerate(rows[1:], start=2):
        name = row[0].strip() if row else ""
        if len(row) > len(rows[0]):
            table.refuse((line, len(rows[0]) + 1), "too-many", f"{len(row)} cells; the first row has {len(rows[0])}",
                         "a comma within a number or a text? put the cell in quotes")  # fmt: skip
        elif name and _is_row(table, name, line, lines, known):
            for column, guideline in columns.items():
                if column < len(row):
                    table.cells[name, guideline] = row[column].strip()
                    table.written_at[name, guideline] = (line, column + 1)
    return table


def _rows(table: EditedTable, text: str) -> list[list[str]]:
    delimiter = max(DELIMITERS, key=text.partition("\n")[0].count)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        table.refuse((1, 1), "not-a-text", f"this is no CSV: {error}")
        return []


def _known_rows() -> list[str]:
    categories = [
        category_row(setting, number, part)
        for setting in SETTINGS_WITH_CATEGORIES
        for number in range(1, MOST_CATEGORIES + 1)
        for part in PARTS_OF_CATEGORY
    ]
    return [*numbers_of_guidelines(), *categories]


def _columns(table: EditedTable, head: Sequence[str], guidelines: Sequence[str]) -> dict[int, str]:
    """Return the columns that are guidelines."""
    columns: dict[int, str] = {}
    for column, cell in enumerate(head[1:], start=1):
        name = cell.strip()
        if name in columns.values():
            table.refuse((1, column + 1), "repeated-key", f"the column '{name}' is there twice")
        elif name in guidelines:
            columns[column] = name
        elif name and name not in PASSED_OVER:
            table.refuse((1, column + 1), "unknown-name", f"there is no guideline {abridged(name)}", near(name, guidelines))
    return columns


def _is_row(table: EditedTable, name: str, line: int, lines: dict[str, int], known: Sequence[str]) -> bool:
    if name not in known:
        table.refuse((line, 1), "unknown-limit", f"{abridged(name)} is no row of this table", near(name, known))
    elif name in lines:
        table.refuse((line, 1), "repeated-key", f"the row '{name}' is in line {lines[name]} already")
    else:
        lines[name] = line
        return True
    return False


def changes_in(table: EditedTable, guidelines: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return what the table sets of each guideline that it changes; mistakes are added to its `faults`."""
    before, changes = cells_of(guidelines), dict[str, dict[str, Any]]()
    for name, written in guidelines.items():
        fields_set: dict[str, Any] = {}
        for row, declared in numbers_of_guidelines().items():
            if (row, name) in table.cells:
                value = _read(table, (row, name), declared)
                if value != value_at(written, path_of(row)):
                    _put(fields_set, path_of(row), value)
        for setting in SETTINGS_WITH_CATEGORIES:
            categories = _categories(table, before, name, setting)
            if categories != written["categories"][setting]:
                _put(fields_set, ("categories", setting), categories)
        if fields_set:
            changes[name] = fields_set
    return changes


def _categories(table: EditedTable, before: Mapping[tuple[str, str], str], name: str, setting: str) -> list[Any]:
    """Return the categories of a setting; rows that the file leaves out are as they were."""
    categories, ended = list[Any](), False
    for number in range(1, MOST_CATEGORIES + 1):
        cells = {part: (category_row(setting, number, part), name) for part in PARTS_OF_CATEGORY}
        texts = {part: table.cells.get(cell, before.get(cell, "")) for part, cell in cells.items()}
        if not any(texts.values()):
            ended = True
            continue
        if ended:
            table.refuse_cell(cells["id"], "categories-order", "there is no category before this one")
        categories.append(_category(table, cells, texts))
    return categories


def _category(table: EditedTable, cells: Mapping[str, tuple[str, str]], texts: Mapping[str, str]) -> dict[str, Any]:
    category: dict[str, Any] = {}
    for part, declared in fields_of_category().items():
        if texts[part]:
            _put(category, path_of(part), _read(table, cells[part], declared, texts[part]))
        elif part in ("id", "title"):
            table.refuse_cell(cells[part], "missing", "it is empty, and the category has other cells")
    return category


def _read(table: EditedTable, cell: tuple[str, str], declared: fields.Field[Any], text: str | None = None) -> Any:
    """Return the value of a cell as a guideline's file has it; None where it is at fault."""
    text = table.cells[cell] if text is None else text
    value: Any = text
    if isinstance(declared, Number):
        value = None if text == UNPUBLISHED else _number(text)
    try:
        declared.deserialize(value)
    except ValidationError as error:
        code = str(error.messages[0])
        hint = DECIMAL_POINT if isinstance(declared, Number) and "," in text else None
        table.refuse_cell(cell, code, f"found {abridged(text)}; expected {_expected(declared)}", hint)
        return None
    return value


def _number(text: str) -> Any:
    try:
        number = float(text.replace("_", " "))  # in Python alone 13_0 is a number
    except ValueError:
        return text
    return int(number) if number.is_integer() else number


def _expected(declared: fields.Field[Any]) -> str:
    if isinstance(declared, Number):
        otherwise = f", or {UNPUBLISHED}" if declared.allow_none else ""
        return f"a number from {declared.low:g} to {declared.high:g}{otherwise}"
    return str(declared.metadata["description"])


def _put(item: dict[str, Any], path: KeyPath, value: Any) -> None:
    *parents, last = map(str, path)
    for key in parents:
        item = item.setdefault(key, {})
    item[last] = value
