"""Limits and categories of guidelines: a row a number or text, named as in a guideline's file, a column a guideline."""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from heartlevel.intake.fields import Number, Part
from heartlevel.ruling.files.profile_schema import Categories, CategoryBlock, GuidelineBlock
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import KeyPath

Cells: TypeAlias = Mapping[tuple[str, str], str]  # by row and guideline; empty where there is nothing
HEAD, UNPUBLISHED = "limit", "none"
SETTINGS_WITH_CATEGORIES = tuple(Categories().fields)
MOST_CATEGORIES = 20  # of a setting
NUMBERED = ("year",)  # numbers of a guideline that are no limits
PARTS_OF_CATEGORY = ("id", "title", "from.systolic", "from.diastolic")


def numbers_of_guidelines() -> dict[str, Number]:
    """Return the fields that are limits, by their dotted names."""
    return dict(_numbers(GuidelineBlock(), ""))


def _numbers(block: Any, prefix: str) -> Iterator[tuple[str, Number]]:
    for attribute, field in block.fields.items():
        name = field.data_key or attribute
        if isinstance(field, Part):
            yield from _numbers(field.schema, f"{prefix}{name}.")
        elif isinstance(field, Number) and name not in NUMBERED:
            yield prefix + name, field


def category_row(setting: str, number: int, part: str) -> str:
    """Return the name of a row that holds a part of a setting's category; the lowest has number 1."""
    return f"categories.{setting}.{number}.{part}"


def path_of(row: str) -> KeyPath:
    """Return where in a guideline's file a limit stands."""
    return tuple(row.split("."))


def cells_of(guidelines: Mapping[str, Mapping[str, Any]]) -> dict[tuple[str, str], str]:
    """Return the cells of guidelines as they are written, by id."""
    cells = {
        (row, name): shown(value_at(written, path_of(row)))
        for row in numbers_of_guidelines()
        for name, written in guidelines.items()
    }
    for name, written in guidelines.items():
        for setting in SETTINGS_WITH_CATEGORIES:
            for number, category in enumerate(written["categories"][setting], start=1):
                for part in PARTS_OF_CATEGORY:
                    value = value_at(category, path_of(part))
                    cells[category_row(setting, number, part), name] = "" if value is None else shown(value)
    return cells


def rows_in(cells: Cells) -> list[str]:
    """Return the rows of a table, limits first, then categories from the lowest up."""
    levels = {setting: _most(cells, setting) for setting in SETTINGS_WITH_CATEGORIES}
    categories = [
        category_row(setting, number, part)
        for setting, most in levels.items()
        for number in range(1, most + 1)
        for part in PARTS_OF_CATEGORY
    ]
    return [*numbers_of_guidelines(), *categories]


def _most(cells: Cells, setting: str) -> int:
    ids = {row for (row, _), cell in cells.items() if cell and row.startswith(f"categories.{setting}.")}
    return max((int(row.split(".")[2]) for row in ids), default=0)


def value_at(item: Any, path: KeyPath) -> Any:
    """Return what stands at a path of mappings, None where nothing does."""
    for key in path:
        item = mapping(item).get(str(key))
    return item


def shown(value: Any) -> str:
    """Write a value as a cell."""
    if value is None:
        return UNPUBLISHED
    return f"{value:.15g}" if isinstance(value, (int, float)) else str(value)


def as_csv(cells: Cells, guidelines: Sequence[str]) -> str:
    """Write a table as CSV."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([HEAD, "unit", *guidelines])
    units = {row: str(field.metadata["unit"]) for row, field in numbers_of_guidelines().items()}
    for row in rows_in(cells):
        unit = units.get(row, "mm[Hg]" if ".from." in row else "")
        writer.writerow([row, unit, *(cells.get((row, name), "") for name in guidelines)])
    return text.getvalue()


def fields_of_category() -> dict[str, Any]:
    """Return the fields of a category by the names of its rows."""
    block = CategoryBlock()
    pressures = block.fields["from_"].schema.fields  # type: ignore[attr-defined]
    return {
        "id": block.fields["id"],
        "title": block.fields["title"],
        "from.systolic": pressures["systolic"],
        "from.diastolic": pressures["diastolic"],
    }
