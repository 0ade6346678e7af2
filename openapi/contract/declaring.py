"""How the fields of the answer are declared."""

from typing import Any

from marshmallow import RAISE, Schema, fields, validate

from heartlevel.vocabulary import MMHG


class ClosedSchema(Schema):
    """An object of the answer. It has the fields declared and no others."""

    class Meta:
        """Refuse what is not declared."""

        unknown = RAISE


def a_field(kind: type[fields.Field[Any]], meaning: str, *args: Any, nullable: bool = False, **more: Any) -> Any:
    """Declare a field that is always there; `nullable` where it may be unknown."""
    unit = more.pop("unit", None)
    notes = {"description": meaning} | ({"unit": unit} if unit else {})
    return kind(*args, **{"required": True, **more}, allow_none=nullable, metadata=notes)


def a_text(meaning: str, **more: Any) -> Any:
    """Declare a text."""
    return a_field(fields.String, meaning, **more)


def a_number(meaning: str, unit: str = MMHG, **more: Any) -> Any:
    """Declare a number with its unit."""
    return a_field(fields.Float, meaning, unit=unit, **more)


def a_count(meaning: str) -> Any:
    """Declare a whole number from 0."""
    return a_field(fields.Integer, meaning, validate=validate.Range(0))


def a_flag(meaning: str, **more: Any) -> Any:
    """Declare true or false."""
    return a_field(fields.Boolean, meaning, **more)


def a_choice(names: Any, meaning: str, **more: Any) -> Any:
    """Declare one of a set of names."""
    return a_field(fields.String, meaning, validate=validate.OneOf(tuple(names)), **more)


def an_object(block: type[Schema], meaning: str, **more: Any) -> Any:
    """Declare an object."""
    return a_field(fields.Nested, meaning, block, **more)


def a_list(item: Any, meaning: str, **more: Any) -> Any:
    """Declare an array."""
    return a_field(fields.List, meaning, item, **more)


def a_list_of_names(meaning: str) -> Any:
    """Declare an array of names."""
    return a_list(fields.String(), meaning)


def an_interval(meaning: str, **more: Any) -> Any:
    """Declare a pair of bounds."""
    return a_list(fields.Float(), meaning, validate=validate.Length(equal=2), **{"unit": MMHG, **more})
