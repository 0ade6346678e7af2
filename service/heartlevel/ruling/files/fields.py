"""Fields of rule files: values stand in them exactly as declared. Whole numbers and names are kinds that only they have."""

from functools import partial
from re import compile as pattern
from typing import Any

from heartlevel.intake import fields
from heartlevel.intake.fields import Number, Text, about

KEBAB_CASE = pattern(r"[a-z0-9]+(-[a-z0-9]+)*")
number = partial(fields.number, exact=True)
flag = partial(fields.flag, exact=True)
choice = partial(fields.choice, exact=True)


class Count(Number):
    """A whole number."""

    default_error_messages = {"whole": "not-whole"}  # noqa: RUF012

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> float:
        number = super()._deserialize(value, attr, data, **more)
        if not number.is_integer():
            raise self.make_error("whole")
        return number


class Name(Text):
    """A name that others refer to: small letters, digits and hyphens between them."""

    default_error_messages = {"name": "not-a-name"}  # noqa: RUF012

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        text = super()._deserialize(value, attr, data, **more)
        if not KEBAB_CASE.fullmatch(text):
            raise self.make_error("name")
        return text


def count(meaning: str, unit: str, low: int, high: int, **more: Any) -> Count:
    """Declare a whole number with its unit and limits."""
    return Count(low, high, exact=True, **about(meaning, unit=unit, **more))


def name(meaning: str, longest: int = 60, **more: Any) -> Name:
    """Declare a kebab-case name."""
    return Name(longest, **about(meaning, **more))
