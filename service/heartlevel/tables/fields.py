"""The columns a table of readings may have: the fields of the request under dotted names, made from its declaration."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import Flag, Items, Number, Part, fields_within
from heartlevel.intake.schema import Device, Options, Reading, Subject

NUMBER, FLAG, LIST, TEXT = "number", "true or false", "list", "text"
SUBJECT, READING, DEVICE, OPTIONS = "subject", "reading", "device", "options"
CUFF = "cuff"  # its columns are named without the device they belong to


@dataclass(frozen=True, slots=True)
class TableField:
    """A column that is understood: where its value goes in the request, and what kind of value that is."""

    name: str
    part: str  # subject, device, options, or reading
    path: tuple[str, ...]  # within that part
    kind: str
    unit: str
    declared: fields.Field[Any]

    @property
    def pointer(self) -> str:
        """The JSON Pointer to the field within its part."""
        return "".join(f"/{key}" for key in self.path)


def _declared() -> Iterator[TableField]:
    for part, block in {READING: Reading(), SUBJECT: Subject(), DEVICE: Device(), OPTIONS: Options()}.items():
        for path, field in fields_within(block):
            of_objects = isinstance(field, Items) and isinstance(field.inner, Part)  # no cell holds these
            if (part, path) != (DEVICE, ("id",)) and not of_objects:  # the reading's `device` is it
                yield TableField(_name(part, path), part, path, _kind(field), field.metadata.get("unit", ""), field)


def _name(part: str, path: tuple[str, ...]) -> str:
    if part == READING or path[0] == CUFF:
        return ".".join(path)
    return SUBJECT if (part, path) == (SUBJECT, ("id",)) else ".".join((part, *path))


def _kind(field: fields.Field[Any]) -> str:
    kinds = ((Number, NUMBER), (Flag, FLAG), (Items, LIST))
    return next((kind for declared, kind in kinds if isinstance(field, declared)), TEXT)


FIELDS = {field.name: field for field in _declared()}
NAMES = {(field.part, field.path): field.name for field in FIELDS.values()}
REQUIRED = (SUBJECT, *(field.name for field in FIELDS.values() if field.part == READING and field.declared.required))
# Other names that are understood.
ALIASES = {"subject.id": SUBJECT, "device.id": DEVICE} | {
    alias: field.name
    for field in FIELDS.values() if field.part == DEVICE and len(field.path) > 1
    for alias in (".".join(field.path), ".".join((DEVICE, *field.path))) if alias != field.name
}  # fmt: skip


def field_name(written: object) -> str:
    """Return the field's own name for a name that may be another one of it; anything else as it is."""
    text = str(written).strip()
    return ALIASES.get(text, text)
