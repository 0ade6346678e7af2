"""From a subject's rows to a request object: dotted names become nested objects, cells become what fields take."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import blake2b
from re import compile as pattern
from typing import TYPE_CHECKING, Any

import numpy as np
import orjson

from heartlevel.bulk.chunks import Chunk, distinct
from heartlevel.bulk.fields import FIELDS, FLAG, LIST, NUMBER, TEXT, Field
from heartlevel.bulk.grouping import Group, Placed
from heartlevel.bulk.mapping import Column, Mapped
from heartlevel.bulk.tables import Layout
from heartlevel.columns import Ints
from heartlevel.intake.table_columns import said_in_text

if TYPE_CHECKING:
    import pyarrow

BETWEEN_ITEMS = pattern(r"[;| ]")


@dataclass(slots=True)
class Made:
    """A request made of rows. `differing` are rows whose detail of subject, device or options was given otherwise
    before: (place of the row, dotted name)."""  # fmt: skip

    request: dict[str, Any]
    rows: Sequence[Placed]
    differing: list[tuple[int, str]] = field(default_factory=list)


def request_from(group: Group, layouts: Mapping[int, Layout], mapped: Mapped) -> Made:
    """Return the request that a subject's rows make; what its fields cannot take is left as it is for the intake."""
    made = Made({"subject": {}, "devices": [], "readings": [], "options": {}}, group.rows)
    devices: dict[str, dict[str, Any]] = {}
    for place, (of_input, _, cells) in enumerate(group.rows):
        parts = _parts(cells, layouts[of_input].columns, mapped)
        _keep(made, place, made.request["subject"], parts["subject"], "subject")
        _keep(made, place, made.request["options"], parts["options"], "options")
        device = _device_of(parts)
        if device is not None:
            _keep(made, place, devices.setdefault(str(device["id"]), {}), device, "device")
        made.request["readings"].append(parts["reading"])
    made.request["devices"] = list(devices.values())
    return made


def _parts(cells: Sequence[Any], columns: Sequence[Column | None], mapped: Mapped) -> dict[str, dict[str, Any]]:
    parts: dict[str, dict[str, Any]] = {"subject": {}, "device": {}, "options": {}, "reading": {}}
    for name, value in mapped.fixed.items():
        _put(parts, FIELDS[name], value)
    for name, value in _values(cells, columns, mapped):
        _put(parts, FIELDS[name], value)
    return parts


def _values(cells: Sequence[Any], columns: Sequence[Column | None], mapped: Mapped) -> Iterator[tuple[str, Any]]:
    times = []
    for cell, column in zip(cells, columns, strict=True):
        value = value_of(cell, column, mapped.decimal) if column else None
        if column is None or value is None:
            continue
        if column.to == "taken_at":
            times.append(str(value))
        else:
            yield column.to, value
    if times:
        yield "taken_at", time_of(" ".join(times), mapped.time_format)


def value_of(cell: Any, column: Column, decimal: str) -> Any:
    """Return what a cell says; None where it says nothing."""
    if isinstance(cell, str):
        cell = cell.strip()
    known = column.values.get(_as_text(cell), cell) if column.values else cell
    if known is None or known == "" or known != known:  # a table may write a missing number as NaN
        return None
    field = FIELDS[column.to]
    return _typed(known, field, decimal, column.factor)


def _typed(value: Any, field: Field, decimal: str, factor: float) -> Any:
    if field.kind == NUMBER:
        number = said_in_text(value, field.declared, decimal) if isinstance(value, str) else value
        scaled = factor != 1.0 and isinstance(number, (int, float)) and not isinstance(number, bool)
        return round(number * factor, 9) if scaled else number
    if isinstance(value, str):
        if field.kind == FLAG:
            return said_in_text(value, field.declared)
        return [one for one in BETWEEN_ITEMS.split(value) if one] if field.kind == LIST else value
    return _as_text(value) if field.kind == TEXT else value


def _as_text(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def time_of(text: str, written: str | None) -> str:
    """Return a time as the request has it; as it stands where it is not written in the way said."""
    if written is None:
        return text
    try:
        return datetime.strptime(text, written).isoformat()
    except ValueError:
        return text


def _put(parts: dict[str, dict[str, Any]], field: Field, value: Any) -> None:
    at = parts[field.part]
    *outer, last = field.path
    for key in outer:
        at = at.setdefault(key, {})
    at[last] = value


def _device_of(parts: dict[str, dict[str, Any]]) -> dict[str, Any] | None:
    """Return the row's device, named by its details where the table does not name it."""
    named = parts["reading"].get("device")
    details = parts["device"]
    if named is None and not details:
        return None
    if named is None:
        named = parts["reading"]["device"] = "device-" + _digest(details)
    return {"id": named, **details}


def _digest(details: dict[str, Any]) -> str:
    return blake2b(orjson.dumps(_as_floats(details), option=orjson.OPT_SORT_KEYS), digest_size=6).hexdigest()


def _as_floats(value: Any) -> Any:
    """Return whole numbers as floats: tables write the same number in either way."""
    if isinstance(value, dict):
        return {key: _as_floats(one) for key, one in value.items()}
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _keep(made: Made, place: int, kept: dict[str, Any], new: Mapping[str, Any], at: str) -> None:
    """Take over what is new; what was given otherwise before stays, and the difference is noted."""
    for key, value in new.items():
        if isinstance(value, dict):
            _keep(made, place, kept.setdefault(key, {}), value, f"{at}.{key}")
        elif kept.setdefault(key, value) != value:
            made.differing.append((place, f"{at}.{key}"))


def subjects_of(chunk: Chunk, layout: Layout) -> "tuple[pyarrow.Array, Ints]":
    """Return the name of the subject of each row, and the lines of the rows that have none."""
    import pyarrow

    meaning = layout.columns[layout.subject]
    assert meaning is not None
    places, names = distinct(chunk.cells[layout.subject])
    said = [value_of(name, meaning, ".") for name in names]
    known = pyarrow.array([None if one is None else str(one) for one in [*said, None]], pyarrow.string())
    of_row = known.take(pyarrow.array(places % len(known)))  # −1, for nothing, is the last
    nobodys = of_row.is_null().to_numpy(zero_copy_only=False) if of_row.null_count else np.zeros(len(of_row), dtype=bool)
    return of_row, chunk.lines[nobodys]
