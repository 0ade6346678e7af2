"""The dotted names of a table's columns, made from the declaration of the request."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import Block, Flag, Items, Number, Part
from heartlevel.intake.schema import Cuff, Device, Options, Reading, Subject

NUMBER, FLAG, LIST, TEXT = "number", "true or false", "list", "text"
REQUIRED = ("subject", "taken_at", "systolic", "diastolic", "setting")
ALIASES = {"subject.id": "subject", "device.id": "device"}
PRESSURES = ("systolic", "diastolic")


@dataclass(frozen=True, slots=True)
class Field:
    """A column that is understood: where its value goes in the request, and what kind of value that is."""

    name: str
    part: str  # subject, device, options, or reading
    path: tuple[str, ...]  # within that part
    kind: str
    unit: str
    declared: fields.Field[Any]


def _declared() -> Iterator[Field]:
    yield from _fields_of(Reading(), "reading", "", ())
    yield from _fields_of(Subject(), "subject", "subject.", ())
    yield from _fields_of(Device(), "device", "device.", ())
    yield from _fields_of(Cuff(), "device", "cuff.", ("cuff",))
    yield from _fields_of(Options(), "options", "options.", ())
    yield Field("subject", "subject", ("id",), TEXT, "", Subject().fields["id"])


def _fields_of(block: Block, part: str, before: str, path: tuple[str, ...]) -> Iterator[Field]:
    for name, field in block.fields.items():
        if isinstance(field, Part):
            yield from _fields_of(field.schema, part, f"{before}{name}.", (*path, name))  # type: ignore[arg-type]
        else:
            yield Field(f"{before}{name}", part, (*path, name), _kind(field), field.metadata.get("unit", ""), field)


def _kind(field: fields.Field[Any]) -> str:
    if isinstance(field, Number):
        return NUMBER
    if isinstance(field, Flag):
        return FLAG
    return LIST if isinstance(field, Items) else TEXT


FIELDS = {field.name: field for field in _declared() if field.name not in ALIASES}
