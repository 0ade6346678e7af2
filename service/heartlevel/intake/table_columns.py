"""The columns a table of readings may have: the fields of the request, dotted where they are nested."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isnan
from typing import Any

from marshmallow import fields

from heartlevel.intake.faults import near
from heartlevel.intake.fields import Block, Flag, Part
from heartlevel.intake.schema import Device, Reading, Subject

SUBJECT, READING, DEVICE = "subject", "reading", "device"
FLAGS = {"true": True, "false": False, "": None}
Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a column's field stands: in which object of the request, and the way to it there."""

    of: str
    path: Path
    field: fields.Field[Any]


@dataclass(frozen=True, slots=True, order=True)
class CellProblem:
    """Something in a table that could not be read. `row` is counted from 0; −1 concerns the whole column."""

    row: int
    column: str
    code: str
    detail: str
    hint: str | None = None


def _leaves(block: Block, path: Path = ()) -> Iterator[tuple[Path, fields.Field[Any]]]:
    for name, field in block.fields.items():
        if isinstance(field, Part):
            yield from _leaves(field.schema, (*path, name))  # type: ignore[arg-type]
        else:
            yield (*path, name), field


def _places() -> Iterator[tuple[str, Place]]:
    for path, field in _leaves(Subject()):
        yield SUBJECT if path == ("id",) else ".".join((SUBJECT, *path)), Place(SUBJECT, path, field)
    for path, field in _leaves(Reading()):
        yield ".".join(path), Place(READING, path, field)
    for path, field in _leaves(Device()):
        if path != ("id",):  # the reading's `device` is it
            yield ".".join(path if len(path) > 1 else (DEVICE, *path)), Place(DEVICE, path, field)


PLACES: Mapping[str, Place] = dict(_places())
COLUMN_AT = {(place.of, place.path): name for name, place in PLACES.items()}
REQUIRED = tuple(name for name, place in PLACES.items() if place.field.required)


def column_at(of: str, pointer: str) -> str:
    """Return the column that a pointer within an object means."""
    path = tuple(pointer.split("/")[1:])
    ends = (path[:end] for end in range(len(path), 0, -1))
    return next((COLUMN_AT[of, one] for one in ends if (of, one) in COLUMN_AT), of)


def nested(cells: Mapping[str, Any]) -> dict[str, Any]:
    """Return the object that the cells of a row make; what is missing is left out."""
    whole: dict[str, Any] = {}
    for column, value in cells.items():
        if value is not None:
            *way, name = PLACES[column].path
            inner = whole
            for step in way:
                inner = inner.setdefault(step, {})
            inner[name] = value
    return whole


def inside(whole: Mapping[str, Any], path: Path) -> Any:
    """Return what stands at a path of a loaded object; None where nothing does."""
    found: Any = whole
    for step in path:
        found = (found or {}).get(step)
    return found


def said_in_text(text: str, field: fields.Field[Any], decimal: str = ".") -> Any:
    """Return the number or truth that a text says; None for no number, and the text itself where it says neither."""
    text = text.strip()
    if isinstance(field, Flag):
        return FLAGS.get(text.lower(), text)
    try:
        number = float(text if decimal == "." else text.replace(decimal, "."))
    except ValueError:
        return text or None
    return None if isnan(number) else number


def likely(name: object) -> str | None:
    """Return a hint at the column that was probably meant."""
    return near(name, PLACES)
