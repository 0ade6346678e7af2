"""How a table's columns are understood, for people: names and types, never values."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from heartlevel.bulk.fields import FIELDS
from heartlevel.bulk.inputs import LINES, Input
from heartlevel.bulk.mapping import Column, Mapped
from heartlevel.bulk.tables import faults_of, header_of, samples_of
from heartlevel.intake.faults import near

NOTHING = "nothing"


def understood(one: Input, mapped: Mapped) -> tuple[list[str], bool]:
    """Return lines that say how an input is understood, and whether it can be assessed so."""
    if one.format == LINES:
        return [f"{one.name}: requests as JSON, no columns"], True
    names, samples = header_of(one, mapped), samples_of(one, mapped)
    columns = [mapped.column(name) for name in names]
    cells = list(zip(*samples, strict=True)) or [()] * len(names)
    faults = list(faults_of(names, columns, mapped))
    width = max(map(len, names))
    lines = [f"  {name:{width}}  {_meaning(name, column, mapped)}; here: {kind_of(some, mapped.decimal)}"
             for name, column, some in zip(names, columns, cells, strict=True)]  # fmt: skip
    fixed = [f"  fixed: {name}" for name in mapped.fixed]
    return [f"{one.name}: {one.format}, first {len(samples)} rows", *lines, *fixed, *_missing(faults)], not faults


def _meaning(name: str, column: Column | None, mapped: Mapped) -> str:
    if column is None:
        hint = near(name.strip(), FIELDS)
        return "left out" if mapped.ignored(name) else f"NOT UNDERSTOOD{f' ({hint})' if hint else ''}"
    field = FIELDS[column.to]
    theirs = f", here in {column.unit}" if column.unit else ""
    translated = f", {len(column.values)} values translated" if column.values else ""
    return f"-> {field.name} ({field.kind}{f' {field.unit}' if field.unit else ''}{theirs}{translated})"


def _missing(faults: Sequence[str]) -> Iterator[str]:
    yield from (f"  ! {fault}" for fault in faults)


def kind_of(cells: Sequence[Any], decimal: str) -> str:
    """Say of what kind the cells are that are not empty; several kinds if they differ."""
    kinds = {_kind(cell.strip() if isinstance(cell, str) else cell, decimal) for cell in cells} - {NOTHING}
    return " or ".join(sorted(kinds)) or NOTHING


def _kind(cell: Any, decimal: str) -> str:
    if cell is None or cell == "":
        return NOTHING
    if isinstance(cell, bool) or (isinstance(cell, str) and cell.lower() in ("true", "false")):
        return "true or false"
    if isinstance(cell, list):
        return "list"
    return "number" if not isinstance(cell, str) or _fits(float, cell.replace(decimal, ".")) else _text_kind(cell)


def _text_kind(cell: str) -> str:
    return "date or time" if _fits(datetime.fromisoformat, cell) else "text"


def _fits(read: Any, cell: str) -> bool:
    try:
        read(cell)
    except ValueError:
        return False
    return True
