"""The fields of an object and of those within it, and how a field itself writes what is written otherwise."""

from collections.abc import Iterator
from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import Block, Choice, Flag, Items, Number, Part


def fields_within(block: Block, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], fields.Field[Any]]]:
    """Yield each field of an object and of the objects in it, with its path."""
    for name, field in block.fields.items():
        if isinstance(field, Part):
            yield from fields_within(field.schema, (*path, name))  # type: ignore[arg-type]
        else:
            yield (*path, name), field


def read_by(field: fields.Field[Any], value: Any) -> Any:
    """Return a value as the field itself writes it, where it is written otherwise; anything else as it is."""
    if isinstance(field, (Number, Flag, Choice)):
        return field.read(value)
    if isinstance(field, Items) and isinstance(value, list):
        return [read_by(field.inner, item) for item in value]
    return value
