"""What a mapping puts into every row is checked before a row is read: a slip there would cost all of them."""

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from typing import Any

from marshmallow import ValidationError

from heartlevel.intake.faults import expected_by, near, problem
from heartlevel.intake.fields import Choice
from heartlevel.intake.request import Choices, options_of
from heartlevel.tables.fields import FIELDS, field_name

ANY_RULES = Choices((), (), (), "")
SOME_TIME = datetime(2026, 11, 25, 17, 41, tzinfo=UTC)


def fixed_faults(fixed: Mapping[str, Any]) -> Iterator[str]:
    """Say which fixed values their fields cannot take."""
    for name, value in fixed.items():
        ours = field_name(name)
        if ours == "options.time_zone":
            yield from (f"fixed: {name}: {fault}" for fault in zone_faults(value))
        elif ours in FIELDS and value is not None:
            yield from (f"fixed: {name}: {fault}" for fault in _value_faults(ours, value))


def translated_faults(name: str, values: Mapping[str, Any]) -> Iterator[str]:
    """Say which translations lead to a name that the field does not have."""
    if isinstance(FIELDS[name].declared, Choice):
        for theirs, ours in values.items():
            yield from (f"values: {theirs}: {fault}" for fault in _value_faults(name, ours) if ours is not None)


def zone_faults(zone: Any) -> Iterator[str]:
    """Say what is wrong with a time zone."""
    if not isinstance(zone, str):
        yield "a text is expected"
        return
    faults, _, _ = options_of({"time_zone": zone}, ANY_RULES)
    yield from (f"{fault.detail}{f' ({fault.hint})' if fault.hint else ''}" for fault in faults)


def format_faults(written: str) -> Iterator[str]:
    """Say that a way of writing times is none, or leaves the day or the hour open."""
    try:
        read = datetime.strptime(SOME_TIME.strftime(written), written)
    except ValueError:
        yield "is no format of a time"
        return
    if read.replace(tzinfo=UTC, minute=SOME_TIME.minute) != SOME_TIME:
        yield "must hold year, month, day and hour"


def _value_faults(name: str, value: Any) -> Iterator[str]:
    given, declared = value.isoformat() if isinstance(value, date) else value, FIELDS[name].declared
    try:
        declared.deserialize(given)
    except ValidationError as error:
        codes = error.messages if isinstance(error.messages, list) else ["not-one-of"]
        hint = near(given, declared.names) if isinstance(declared, Choice) else None
        for code in codes:
            yield problem("", code, given, expected_by(declared)).detail + (f" ({hint})" if hint else "")
