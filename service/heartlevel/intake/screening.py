"""A quick look at an object of the request: what is certainly right is loaded here, all else is left to marshmallow.

Derived from the same declarations: what is loaded here is what marshmallow would load. What is wrong is never said here:
whatever may be wrong is unfit, and marshmallow looks again.
"""

from collections.abc import Callable, Collection
from typing import Any, TypeAlias

from marshmallow import ValidationError, fields

from heartlevel.intake.fields import Anything, Block, Choice, Flag, Items, Number, Part, Text

Look: TypeAlias = Callable[[Any], Any]


class Unfit(Exception):
    """Something may be wrong; marshmallow says what."""


class Screen:
    """The quick look at one kind of object."""

    def __init__(self, block: Block) -> None:
        """Prepare a look at every declared field."""
        self._look = _look_at_object(block)

    def load(self, raw: object) -> dict[str, Any] | None:
        """Return the object loaded; None if marshmallow has to look."""
        try:
            loaded: dict[str, Any] = self._look(raw)
        except Unfit:
            return None
        return loaded


def _look_at_object(block: Block) -> Look:
    looks = {name: look_at(field) for name, field in block.fields.items()}
    nullable = frozenset(name for name, field in block.fields.items() if field.allow_none)
    required = frozenset(name for name, field in block.fields.items() if field.required)

    def look_at_all(raw: Any) -> dict[str, Any]:
        if type(raw) is not dict or not required <= raw.keys():
            raise Unfit
        loaded: dict[str, Any] = {}
        for name, value in raw.items():
            if value is None:
                if name not in nullable:
                    raise Unfit
                loaded[name] = None
            elif look := looks.get(name):
                loaded[name] = look(value)
            else:
                raise Unfit
        return loaded

    return look_at_all


def look_at(field: fields.Field[Any]) -> Look:
    """Return the quick look at one field's value; it raises Unfit where marshmallow has to look."""
    # By exact type: a kind of field derived from another may be stricter than it.
    look = LOOKS.get(type(field))
    return look(field) if look else _asking(field)


def _asking(field: fields.Field[Any]) -> Look:
    """Leave the value to the field itself, where a quick look has no rule of its own."""

    def ask(value: Any) -> Any:
        try:
            return field.deserialize(value)
        except ValidationError:
            raise Unfit from None

    return ask


def _number(field: Number) -> Look:
    low, high = field.low, field.high

    def number(value: Any) -> float:
        # The exact type leaves booleans out, the limits NaN and infinity.
        if (type(value) is float or type(value) is int) and low <= value <= high:
            return float(value)
        written = field.read(value) if type(value) is str else None
        if type(written) is float and low <= written <= high:
            return written
        raise Unfit

    return number


def _one_of(field: Flag | Choice, kind: type, values: Collection[Any]) -> Look:
    def among(value: Any) -> Any:
        if type(value) is kind and value in values:
            return value
        written = field.read(value) if type(value) is str else None
        if type(written) is kind and written in values:
            return written
        raise Unfit

    return among


def _text(field: Text) -> Look:
    longest, ask = field.longest, _asking(field)

    def text(value: Any) -> Any:
        # ASCII holds no lone surrogate.
        if type(value) is str and 0 < len(value) <= longest and value.isascii():
            return value
        return ask(value)

    return text


def _items(field: Items) -> Look:
    look, least, longest = look_at(field.inner), field.least, field.longest

    def items(value: Any) -> list[Any]:
        if type(value) is list and least <= len(value) <= longest:
            return [look(item) for item in value]
        raise Unfit

    return items


LOOKS: dict[type, Callable[[Any], Look]] = {
    Number: _number, Text: _text, Items: _items,
    Flag: lambda field: _one_of(field, bool, (True, False)),
    Choice: lambda field: _one_of(field, str, frozenset(field.names)),
    Part: lambda field: _look_at_object(field.schema), Anything: lambda field: lambda value: value,
}  # fmt: skip
