"""The kinds of field a request is declared with. Their error messages are codes; `faults` words them.

A field that may become a fact says so (`fact=`); the catalogue of facts, the OpenAPI document and the
messages are all made from these declarations. What else a value may be written as is said here too, once for requests
and tables alike (`read`); an `exact` field takes nothing else.
"""

from collections.abc import Mapping, Sequence
from math import isfinite
from re import compile as pattern
from typing import Any

from marshmallow import EXCLUDE, RAISE, Schema, fields, validate, validates_schema
from marshmallow.exceptions import ValidationError

from heartlevel.intake.texts.json_text import items_legible_in
from heartlevel.intake.written import LONGEST_TIME, day_written, flag_written, letters_of, number_written

CLOCK = pattern(r"([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?")
SURROGATE = pattern("[\ud800-\udfff]")
UNKNOWN_KEY = "unknown-key"
UNREAD = None  # an item of a list that could not be read
CODES = {"required": "missing", "null": "null", "validator_failed": "invalid"}


class Block(Schema):
    """A JSON object of the request. Unknown keys are faults."""

    class Meta:
        """Refuse what is not declared."""

        unknown = RAISE

    # `invalid` is marshmallow's own key for an input that is no object.
    error_messages = {"type": "not-an-object", "invalid": "not-an-object"}  # noqa: RUF012

    def load(self, data: Any, **more: Any) -> Any:
        """Leave what is not declared to `refuse_strange`: marshmallow refuses name by name, and in any order."""
        return super().load(data, **{**more, "unknown": EXCLUDE})

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def refuse_strange(self, _loaded: Any, sent: Any, **_more: Any) -> None:
        """Refuse what is not declared all at once, in the order sent."""
        known = {field.data_key or name for name, field in self.load_fields.items()}
        strange = [key for key in sent if key not in known] if isinstance(sent, dict) else []
        if strange:
            raise ValidationError({key: [UNKNOWN_KEY] for key in strange})


class Number(fields.Float):
    """A finite number between `low` and `high`, both included; unless `exact`, also as a text. Booleans are no numbers."""

    default_error_messages = {**CODES, "invalid": "not-a-number", "range": "out-of-range"}  # noqa: RUF012

    def __init__(self, low: float, high: float, *, exact: bool = False, **more: Any) -> None:
        """Keep the limits both for checking and for the contract."""
        self.low, self.high, self.exact = low, high, exact
        super().__init__(validate=validate.Range(low, high, error="out-of-range"), **more)

    def read(self, value: Any) -> Any:
        """Return the number a text is; anything else as it is."""
        number = None if self.exact or not isinstance(value, str) else number_written(value)
        return value if number is None else number

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> float:
        value = self.read(value)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.make_error("invalid")
        try:
            number = float(value)
        except OverflowError:
            raise self.make_error("range") from None
        if not isfinite(number):
            raise self.make_error("invalid")
        return number


class Flag(fields.Boolean):
    """True or false and nothing else; unless `exact`, also as a word."""

    default_error_messages = {**CODES, "invalid": "not-true-or-false"}  # noqa: RUF012

    def __init__(self, *, exact: bool = False, **more: Any) -> None:
        """Say whether words are taken."""
        self.exact = exact
        super().__init__(**more)

    def read(self, value: Any) -> Any:
        """Return what a word says; anything else as it is."""
        flag = None if self.exact or not isinstance(value, str) else flag_written(value)
        return value if flag is None else flag

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> bool:
        value = self.read(value)
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value


class Text(fields.String):
    """A short text: an identifier or a date. Empty text is a fault."""

    default_error_messages = {**CODES, "invalid": "not-a-text", "length": "text-length"}  # noqa: RUF012

    def __init__(self, longest: int = 64, **more: Any) -> None:
        """Limit the length, so that an identifier stays one."""
        self.longest = longest
        super().__init__(validate=validate.Length(1, longest, error="text-length"), **more)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        if not isinstance(value, str) or SURROGATE.search(value):  # half a character cannot be written back as UTF-8
            raise self.make_error("invalid")
        return value


class Day(Text):
    """A calendar date as text, YYYY-MM-DD; of a whole ISO 8601 date and time the date counts, as it is written."""

    default_error_messages = {"day": "not-a-date"}  # noqa: RUF012

    def __init__(self, longest: int = LONGEST_TIME, **more: Any) -> None:
        """Leave room for the time."""
        super().__init__(max(longest, LONGEST_TIME), **more)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        day = day_written(super()._deserialize(value, attr, data, **more))
        if day is None:
            raise self.make_error("day")
        return day.isoformat()


class Clock(Text):
    """A time of day as text, HH:MM by 24 hours; seconds are allowed."""

    default_error_messages = {"clock": "not-a-time-of-day"}  # noqa: RUF012

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        text = super()._deserialize(value, attr, data, **more)
        if not CLOCK.fullmatch(text):
            raise self.make_error("clock")
        return text


class Choice(fields.String):
    """One name out of an enumeration of the vocabulary; unless `exact`, whatever its case and what stands between words.

    So `mm[Hg]` is also `mmHg` and `MM HG`, and `left-upper-arm` also `Left upper arm`.
    """

    default_error_messages = {**CODES, "invalid": "not-one-of"}  # noqa: RUF012

    def __init__(self, names: Sequence[str], *, exact: bool = False, **more: Any) -> None:
        """Keep the names in the vocabulary's order: their index is their code in columns."""
        self.names, self.exact = tuple(names), exact
        self._by_letters = {letters_of(name): name for name in self.names}
        assert exact or len(self._by_letters) == len(self.names)
        super().__init__(validate=validate.OneOf(self.names, error="not-one-of"), **more)

    def read(self, value: Any) -> Any:
        """Return the name a text means; anything else as it is."""
        if self.exact or not isinstance(value, str) or value in self.names:
            return value
        return self._by_letters.get(letters_of(value), value)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        value = self.read(value)
        if not isinstance(value, str):
            raise self.make_error("invalid")
        return value


class Items(fields.List[Any]):
    """A JSON array of like things, of limited length."""

    default_error_messages = {**CODES, "invalid": "not-a-list"}  # noqa: RUF012

    def __init__(self, item: fields.Field[Any], longest: int, least: int = 0, *, partly: bool = False, **more: Any) -> None:
        """Limit the length: nothing in a request is unbounded. `partly`: items that can be read count beside others."""
        self.longest, self.least, self.partly = longest, least, partly
        few, many = validate.Length(min=least, error="too-few"), validate.Length(max=longest, error="too-many")
        super().__init__(item, validate=[few, many] if least else many, **more)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> list[Any]:
        if isinstance(value, list):
            return super()._deserialize(value, attr, data, **more)
        try:
            legible: Any = super()._deserialize([*items_legible_in(value)][: self.longest], attr, data, **more)
        except ValidationError as error:
            legible = error.valid_data
        raise ValidationError(self.error_messages["invalid"], valid_data=legible)


class Part(fields.Nested):
    """An object inside an object."""

    default_error_messages = {**CODES, "type": "not-an-object"}  # noqa: RUF012


class Anything(fields.Raw):
    """A value looked at later, item by item, so that one bad item does not lose the others."""

    default_error_messages = dict(CODES)


def about(meaning: str, *, unit: str | None = None, fact: str | None = None, **more: Any) -> dict[str, Any]:
    """Return a field's keyword arguments: optional, null allowed, described."""
    notes = {"description": meaning, "unit": unit, "fact": fact}
    optional: dict[str, Any] = {"allow_none": not more.get("required", False)}
    return optional | more | {"metadata": {key: value for key, value in notes.items() if value is not None}}


def number(meaning: str, unit: str, low: float, high: float, fact: str | None = None, **more: Any) -> Number:
    """Declare an optional number with its unit and limits."""
    return Number(low, high, **about(meaning, unit=unit, fact=fact, **more))


def flag(meaning: str, fact: str | None = None, **more: Any) -> Flag:
    """Declare an optional true-or-false detail."""
    return Flag(**about(meaning, fact=fact, **more))


def choice(names: Sequence[str], meaning: str, fact: str | None = None, **more: Any) -> Choice:
    """Declare an optional choice out of the vocabulary."""
    return Choice(names, **about(meaning, fact=fact, **more))


def text(meaning: str, longest: int = 64, **more: Any) -> Text:
    """Declare an optional short text."""
    return Text(longest, **about(meaning, **more))


def day(meaning: str, **more: Any) -> Day:
    """Declare an optional calendar date."""
    return Day(**about(f"{meaning}, YYYY-MM-DD", **more))


def part(block: type[Block], meaning: str, **more: Any) -> Part:
    """Declare an optional object."""
    return Part(block, **about(meaning, **more))


def messages(error: ValidationError) -> Mapping[Any, Any]:
    """Return marshmallow's messages as nested as the input, those of the whole under `_schema`."""
    nested = error.messages
    return nested if isinstance(nested, dict) else {"_schema": nested}
