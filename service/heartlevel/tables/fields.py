"""The columns a table of readings may have: the fields of the request under dotted names, made from its declaration."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as attribute
from functools import lru_cache
from re import compile as pattern
from typing import Any, TypeAlias

from marshmallow import fields

from heartlevel.intake.blocks.members import fields_within
from heartlevel.intake.fields import Flag, Items, Number, Part
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.intake.schema import Options

NUMBER, FLAG, LIST, TEXT = "number", "true or false", "list", "text"
SUBJECT, READING, DEVICE, OPTIONS = "subject", "reading", "device", "options"
CUFF = "cuff"  # its columns are named without the device they belong to
# A column in brackets was filled in beforehand by whoever laid the table out; it may be of no field.
LAID_OUT = pattern(r"\(.*\)")


@dataclass(frozen=True, slots=True)
class TableField:
    """A column that is understood: where its value goes in the request, and what kind of value that is.

    Copied to another process it is found again by its name.
    """

    name: str
    part: str  # subject, device, options, or reading
    path: tuple[str, ...]  # within that part
    kind: str
    unit: str
    declared: fields.Field[Any] = attribute(repr=False)
    form: Form = attribute(repr=False)

    def __reduce__(self) -> tuple[Any, ...]:
        """Name what it is found by."""
        return _field_named, (self.form, self.name)

    @property
    def pointer(self) -> str:
        """The JSON Pointer to the field within its part."""
        return "".join(f"/{key}" for key in self.path)


TableFields: TypeAlias = Mapping[str, TableField]  # by name


@lru_cache(maxsize=16)
def fields_of(form: Form) -> TableFields:
    """Return the columns that tables of requests of a form may have."""
    return {field.name: field for field in _declared(form)}


def _field_named(form: Form, name: str) -> TableField:
    return fields_of(form)[name]


def _declared(form: Form) -> Iterator[TableField]:
    for part, block in {READING: form.reading, SUBJECT: form.subject, DEVICE: form.device, OPTIONS: Options()}.items():
        for path, field in fields_within(block):
            of_objects = isinstance(field, Items) and isinstance(field.inner, Part)  # no cell holds these
            if (part, path) != (DEVICE, ("id",)) and not of_objects:  # the reading's `device` is it
                name, unit = name_in_table(part, path), field.metadata.get("unit", "")
                yield TableField(name, part, path, _kind(field), unit, field, form)


def name_in_table(part: str, path: tuple[str, ...]) -> str:
    """Return what the column of a field is called."""
    if part == READING or path[0] == CUFF:
        return ".".join(path)
    return SUBJECT if (part, path) == (SUBJECT, ("id",)) else ".".join((part, *path))


def _kind(field: fields.Field[Any]) -> str:
    kinds = ((Number, NUMBER), (Flag, FLAG), (Items, LIST))
    return next((kind for declared, kind in kinds if isinstance(field, declared)), TEXT)


FIELDS = fields_of(PLAIN_FORM)  # those that every table may have
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
    if LAID_OUT.fullmatch(text):
        text = text[1:-1].strip()
    return ALIASES.get(text, text)


def is_laid_out(name: str) -> bool:
    """Tell whether a column was filled in beforehand."""
    return LAID_OUT.fullmatch(name.strip()) is not None


def as_laid_out(name: str) -> str:
    """Return the name of a column that is filled in beforehand."""
    return f"({name})"
