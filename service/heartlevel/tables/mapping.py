"""How the columns of somebody's table are understood: as it is written in a file or by a caller, checked.

columns:
  Patient: subject
  Systole: {to: systolic, unit: kPa}
  Where: {to: setting, values: {H: home, P: office}}
fixed: {taken_by: self}
time_zone: Europe/Oslo
time_format: "%d.%m.%Y %H:%M"
decimal: ","
delimiter: ";"
ignore: [Ward]            # or: everything-else
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

from marshmallow import ValidationError

from heartlevel.intake.faults import expected_by, near, problem
from heartlevel.intake.fields import Choice
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.intake.request import Choices, options_of
from heartlevel.tables.cells import plain_value
from heartlevel.tables.fields import NUMBER, TableField, TableFields, field_name, fields_of
from heartlevel.tables.meanings import REST, Mapped, Meaning
from heartlevel.vocabulary import KPA, MMHG, PRESSURES

KEYS = ("columns", "fixed", "time_zone", "time_format", "decimal", "delimiter", "ignore")
COLUMN_KEYS = ("to", "unit", "values")
# Exact by definition of the units. A pressure in kPa is not converted here: the request names its unit.
FACTORS = {("cm", "cm"): 1.0, ("cm", "mm"): 0.1, ("cm", "m"): 100.0, ("cm", "in"): 2.54,
           ("min", "min"): 1.0, ("min", "h"): 60.0, ("min", "s"): 1 / 60}  # fmt: skip
TIME_ZONE = "options.time_zone"
ANY_RULES = Choices((), (), (), "")
SOME_TIME = datetime(2026, 11, 25, 17, 41, tzinfo=UTC)


class WrongMapping(ValueError):
    """What was said of columns cannot be used; `faults` are all mistakes in it."""

    def __init__(self, faults: Sequence[str]) -> None:
        """Word them a line each."""
        super().__init__("\n".join(faults))
        self.faults = faults


def mapped_from(written: Any, form: Form = PLAIN_FORM) -> Mapped:
    """Return how columns are understood, as it was written, by the fields of a form.

    Raises WrongMapping with every mistake in it.
    """
    faults = list(_faults(written, fields_of(form)))
    if faults:
        raise WrongMapping(faults)
    return _mapped(written, form)


def _mapped(written: Mapping[str, Any], form: Form) -> Mapped:
    full = {theirs.strip(): meaning for theirs, meaning in _columns(written).items()}
    fixed = {field_name(name): plain_value(value) for name, value in (written.get("fixed") or {}).items()}
    if "time_zone" in written:
        fixed[TIME_ZONE] = written["time_zone"]
    if any(field_name(meaning["to"]) in PRESSURES and meaning.get("unit") == KPA for meaning in full.values()):
        fixed["unit"] = KPA
    ignore = written.get("ignore") or ()
    meanings = {name: _meaning(meaning, fields_of(form)) for name, meaning in full.items()}
    return Mapped(meanings, fixed, written.get("time_format"), written.get("decimal", "."), written.get("delimiter"),
                  (ignore,) if isinstance(ignore, str) else tuple(map(str, ignore)), form)  # fmt: skip


def _columns(written: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """Return what is said of each column as a mapping, even where it is no more than a name."""
    columns = (written.get("columns") or {}).items()
    return {theirs: meaning if isinstance(meaning, dict) else {"to": meaning} for theirs, meaning in columns}


def _meaning(written: Mapping[str, Any], fields: TableFields) -> Meaning:
    to = fields[field_name(written["to"])]
    factor = FACTORS.get((to.unit, written.get("unit", "")), 1.0)
    return Meaning(to, factor, written.get("values") or {}, written.get("unit"))


def _faults(written: Any, fields: TableFields) -> Iterator[str]:
    if not isinstance(written, dict):
        yield "a mapping is expected"
        return
    yield from (_unknown(key, KEYS) for key in written if key not in KEYS)
    for key in ("columns", "fixed"):
        if not isinstance(written.get(key) or {}, dict):
            yield f"{key}: a mapping is expected"
            return
    columns = _columns(written)
    for theirs, meaning in columns.items():
        yield from (f"columns: {theirs}: {fault}" for fault in _column_faults(meaning, fields))
    yield from (f"fixed: {_unknown(name, fields)}" for name in written.get("fixed") or {} if field_name(name) not in fields)
    yield from _fixed_faults(written.get("fixed") or {}, fields)
    yield from _setting_faults(written)
    units = {field_name(meaning["to"]): meaning.get("unit", MMHG) for meaning in columns.values() if "to" in meaning}
    if len({units[name] for name in PRESSURES if name in units}) > 1:
        yield "columns: systolic and diastolic must have the same unit"


def _setting_faults(written: Mapping[str, Any]) -> Iterator[str]:
    if "time_zone" in written:
        yield from (f"time_zone: {fault}" for fault in _zone_faults(written["time_zone"]))
    if not isinstance(written.get("time_format", ""), str):
        yield "time_format: a text is expected"
    elif "time_format" in written:
        yield from (f"time_format: {fault}" for fault in _format_faults(written["time_format"]))
    for key in ("decimal", "delimiter"):
        if key in written and not (isinstance(written[key], str) and len(written[key]) == 1):
            yield f"{key}: one character is expected"
    if not isinstance(written.get("ignore") or [], (list, str)):
        yield f"ignore: a list of columns, or {REST}, is expected"


def _column_faults(full: Mapping[str, Any], fields: TableFields) -> Iterator[str]:
    yield from (_unknown(key, COLUMN_KEYS) for key in full if key not in COLUMN_KEYS)
    to = full.get("to")
    if not isinstance(to, str) or field_name(to) not in fields:
        yield _unknown(to, fields)
        return
    known = fields[field_name(to)]
    if not isinstance(full.get("values") or {}, dict):
        yield "values: a mapping is expected"
    else:
        yield from _translated_faults(known, full.get("values") or {})
    if "unit" in full and full["unit"] not in units_of(known):
        yield f"unit: expected one of {', '.join(units_of(known)) or 'none, as the field has no unit'}"


def units_of(known: TableField) -> list[str]:
    """Return the units that a column for a field may be in."""
    if known.name in PRESSURES:
        return [MMHG, KPA]
    other = [theirs for ours, theirs in FACTORS if ours == known.unit]
    return other or ([known.unit] if known.kind == NUMBER else [])


def _unknown(name: Any, allowed: Any) -> str:
    hint = near(name, allowed)
    return f"{name}: no such name" + (f" ({hint})" if hint else "")


def _fixed_faults(fixed: Mapping[str, Any], fields: TableFields) -> Iterator[str]:
    """Say which fixed values their fields cannot take."""
    for name, value in fixed.items():
        ours = field_name(name)
        if ours in fields and (value is not None or ours == TIME_ZONE):
            faults = _zone_faults(value) if ours == TIME_ZONE else _value_faults(fields[ours], value)
            yield from (f"fixed: {name}: {fault}" for fault in faults)


def _translated_faults(known: TableField, values: Mapping[str, Any]) -> Iterator[str]:
    """Say which translations lead to a name that the field does not have."""
    if isinstance(known.declared, Choice):
        for theirs, ours in values.items():
            yield from (f"values: {theirs}: {fault}" for fault in _value_faults(known, ours) if ours is not None)


def _zone_faults(zone: Any) -> Iterator[str]:
    """Say what is wrong with a time zone."""
    if not isinstance(zone, str):
        yield "a text is expected"
        return
    faults, _, _ = options_of({"time_zone": zone}, ANY_RULES)
    yield from (f"{fault.detail}{f' ({fault.hint})' if fault.hint else ''}" for fault in faults)


def _format_faults(written: str) -> Iterator[str]:
    """Say that a way of writing times is none, or leaves the day or the hour open."""
    try:
        read = datetime.strptime(SOME_TIME.strftime(written), written)
    except (ValueError, re.error):  # the latter where a part of the time is there twice
        yield "is no format of a time"
        return
    if read.replace(tzinfo=UTC, minute=SOME_TIME.minute) != SOME_TIME:
        yield "must hold year, month, day and hour"


def _value_faults(known: TableField, value: Any) -> Iterator[str]:
    given, declared = value.isoformat() if isinstance(value, date) else value, known.declared
    try:
        declared.deserialize(given)
    except ValidationError as error:
        codes = error.messages if isinstance(error.messages, list) else ["not-one-of"]
        hint = near(given, declared.names) if isinstance(declared, Choice) else None
        for code in codes:
            yield problem("", code, given, expected_by(declared)).detail + (f" ({hint})" if hint else "")
