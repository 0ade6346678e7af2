"""How a table's columns are understood, for people: names and types, never values."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pyarrow

from heartlevel.bulk.columns.layouts import chunks_of, header_of, layout_faults
from heartlevel.bulk.columns.time_formats import time_format_fault
from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.bulk.inputs.input import Input, RequestFormat
from heartlevel.intake.written import flag_written
from heartlevel.tables.cells import number_in, values_of
from heartlevel.tables.fields import FLAG, LIST, NUMBER, TEXT
from heartlevel.tables.meanings import Mapped, layout_of, strange_columns

NOTHING = "nothing"
MOST_ROWS = 100  # looked at


def describe_columns(source: Input, mapped: Mapped) -> tuple[list[str], bool]:
    """Return lines that say how an input is understood, and whether it can be assessed so."""
    if isinstance(source.format, RequestFormat):
        return [f"{source.name}: requests as {source.format.name.upper()}, no columns"], True
    names = header_of(source, mapped)
    first = next(
        (chunk.cells for chunk in chunks_of(source, mapped) if isinstance(chunk, Chunk)), [pyarrow.nulls(0)] * len(names)
    )
    cells = [values_of(column[:MOST_ROWS]) for column in first]
    faults = list(layout_faults(names, mapped))
    if not faults:
        faults += filter(None, [time_format_fault(source, layout_of(names, mapped), mapped)])
    width = max(map(len, names))
    hints = dict(strange_columns(names, mapped))
    lines = [f"  {name:{width}}  {_meaning(name, mapped, hints)}; here: {kind_of(column, mapped.decimal)}"
             for name, column in zip(names, cells, strict=True)]  # fmt: skip
    lines += [f"  fixed: {name}" for name in mapped.fixed]
    lines += [f"  ! {fault}" for fault in faults]
    return [f"{source.name}: {source.format.name}, first {len(cells[0])} rows", *lines], not faults


def _meaning(name: str, mapped: Mapped, hints: dict[str, str | None]) -> str:
    meaning = mapped.meaning_of(name)
    if meaning is None:
        hint = hints.get(name)
        return f"NOT UNDERSTOOD{f' ({hint})' if hint else ''}" if name in hints else "left out"
    field = meaning.field
    theirs = f", here in {meaning.unit}" if meaning.unit else ""
    translated = f", {len(meaning.values)} values translated" if meaning.values else ""
    return f"-> {field.name} ({field.kind}{f' {field.unit}' if field.unit else ''}{theirs}{translated})"


def kind_of(cells: Sequence[Any], decimal: str) -> str:
    """Say of what kind the cells are that are not empty; several kinds if they differ."""
    kinds = {_kind(cell.strip() if isinstance(cell, str) else cell, decimal) for cell in cells} - {NOTHING}
    return " or ".join(sorted(kinds)) or NOTHING


def _kind(cell: Any, decimal: str) -> str:
    if cell is None or cell == "":
        return NOTHING
    if isinstance(cell, bool) or (isinstance(cell, str) and flag_written(cell) is not None):
        return FLAG
    if isinstance(cell, list):
        return LIST
    if not isinstance(cell, str) or number_in(cell, decimal) != cell:
        return NUMBER
    return "date or time" if _is_time(cell) else TEXT


def _is_time(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True
