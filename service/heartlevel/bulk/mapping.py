"""How the columns of somebody's table are understood: a small YAML file, read and checked.

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

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from re import compile as pattern
from typing import Any

import yaml

from heartlevel.bulk.fields import ALIASES, FIELDS, NUMBER, PRESSURES
from heartlevel.bulk.inputs import WrongCall
from heartlevel.bulk.mapping_values import fixed_faults, format_faults, translated_faults, zone_faults
from heartlevel.intake.faults import near
from heartlevel.vocabulary import KPA, MMHG

REST = "everything-else"
INDEX = pattern(r"__index_level_\d+__")  # the rows' numbers or names, as pandas writes them to Parquet
KEYS = ("columns", "fixed", "time_zone", "time_format", "decimal", "delimiter", "ignore")
COLUMN_KEYS = ("to", "unit", "values")
# Exact by definition of the units. A pressure in kPa is not converted here: the request names its unit.
FACTORS = {("cm", "cm"): 1.0, ("cm", "mm"): 0.1, ("cm", "m"): 100.0, ("cm", "in"): 2.54,
           ("min", "min"): 1.0, ("min", "h"): 60.0, ("min", "s"): 1 / 60}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """What one column of theirs means."""

    to: str
    factor: float = 1.0
    values: Mapping[str, Any] = field(default_factory=dict)
    unit: str | None = None  # theirs, where the mapping says it


@dataclass(frozen=True, slots=True)
class Mapped:
    """A whole mapping. Without one, columns are understood by our dotted names."""

    columns: Mapping[str, Column] = field(default_factory=dict)
    fixed: Mapping[str, Any] = field(default_factory=dict)
    time_format: str | None = None
    decimal: str = "."
    delimiter: str | None = None
    ignore: tuple[str, ...] = ()

    def column(self, theirs: str) -> Column | None:
        """Return what a column means; None if it is not understood."""
        name = theirs.strip()
        ours = ALIASES.get(name, name)
        return self.columns.get(name) or (Column(ours) if ours in FIELDS else None)

    def ignored(self, theirs: str) -> bool:
        """Tell whether a column is left out knowingly."""
        return REST in self.ignore or theirs.strip() in self.ignore or bool(INDEX.fullmatch(theirs))


class _TextKeys(yaml.SafeLoader):
    """Takes keys as they are written: `yes` and `01` are what a table has, no truth and no number."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        found: dict[Hashable, Any] = {}
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode) or key.value in found:
                raise yaml.constructor.ConstructorError(None, None, "a name that is there twice or is none", key.start_mark)
            found[key.value] = self.construct_object(value, deep=True)
        return found


def mapped_by(path: Path | None) -> Mapped:
    """Read a mapping. Raises WrongCall with every mistake in it."""
    if path is None:
        return Mapped()
    try:
        written = yaml.load(path.read_text("utf-8"), _TextKeys)
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise WrongCall(f"{path}: not YAML: {' '.join(str(error).split())}") from error
    faults = list(_faults(written))
    if faults:
        raise WrongCall("\n".join(f"{path}: {fault}" for fault in faults))
    return _mapped(written)


def _mapped(written: Mapping[str, Any]) -> Mapped:
    full = {str(theirs).strip(): one if isinstance(one, dict) else {"to": one}
            for theirs, one in (written.get("columns") or {}).items()}  # fmt: skip
    fixed = {_ours(name): value for name, value in (written.get("fixed") or {}).items()}
    if "time_zone" in written:
        fixed["options.time_zone"] = written["time_zone"]
    if any(_ours(one["to"]) in PRESSURES and one.get("unit") == KPA for one in full.values()):
        fixed["unit"] = KPA
    ignore = written.get("ignore") or ()
    return Mapped({name: _column(one) for name, one in full.items()}, fixed, written.get("time_format"),
                  written.get("decimal", "."), written.get("delimiter"),
                  (ignore,) if isinstance(ignore, str) else tuple(map(str, ignore)))  # fmt: skip


def _column(one: Mapping[str, Any]) -> Column:
    to = _ours(one["to"])
    factor = FACTORS.get((FIELDS[to].unit, one.get("unit", "")), 1.0)
    return Column(to, factor, one.get("values") or {}, one.get("unit"))


def _ours(name: Any) -> str:
    return ALIASES.get(name, str(name))


def _faults(written: Any) -> Iterator[str]:
    if not isinstance(written, dict):
        yield "a mapping is expected"
        return
    yield from (_unknown(key, KEYS) for key in written if key not in KEYS)
    for key in ("columns", "fixed"):
        if not isinstance(written.get(key) or {}, dict):
            yield f"{key}: a mapping is expected"
            return
    for theirs, one in (written.get("columns") or {}).items():
        yield from (f"columns: {theirs}: {fault}" for fault in _column_faults(one))
    yield from (f"fixed: {_unknown(name, FIELDS)}" for name in written.get("fixed") or {} if _ours(name) not in FIELDS)
    yield from fixed_faults(written.get("fixed") or {})
    yield from _setting_faults(written)
    yield from _unit_faults(written.get("columns") or {})


def _setting_faults(written: Mapping[str, Any]) -> Iterator[str]:
    if "time_zone" in written:
        yield from (f"time_zone: {fault}" for fault in zone_faults(written["time_zone"]))
    if not isinstance(written.get("time_format", ""), str):
        yield "time_format: a text is expected"
    elif "time_format" in written:
        yield from (f"time_format: {fault}" for fault in format_faults(written["time_format"]))
    for key in ("decimal", "delimiter"):
        if key in written and not (isinstance(written[key], str) and len(written[key]) == 1):
            yield f"{key}: one character is expected"
    if not isinstance(written.get("ignore") or [], (list, str)):
        yield f"ignore: a list of columns, or {REST}, is expected"


def _column_faults(one: Any) -> Iterator[str]:
    full = one if isinstance(one, dict) else {"to": one}
    yield from (_unknown(key, COLUMN_KEYS) for key in full if key not in COLUMN_KEYS)
    to = full.get("to")
    if not isinstance(to, str) or _ours(to) not in FIELDS:
        yield _unknown(to, FIELDS)
        return
    if not isinstance(full.get("values") or {}, dict):
        yield "values: a mapping is expected"
    else:
        yield from translated_faults(_ours(to), full.get("values") or {})
    if "unit" in full and full["unit"] not in _units(_ours(to)):
        yield f"unit: expected one of {', '.join(_units(_ours(to))) or 'none, as the field has no unit'}"


def _units(name: str) -> list[str]:
    if name in PRESSURES:
        return [MMHG, KPA]
    known = FIELDS[name]
    other = [theirs for ours, theirs in FACTORS if ours == known.unit]
    return other or ([known.unit] if known.kind == NUMBER else [])


def _unit_faults(columns: Mapping[Any, Any]) -> Iterator[str]:
    units = {_ours(one["to"]): one.get("unit", MMHG) for one in columns.values() if isinstance(one, dict) and "to" in one}
    units = {name: MMHG for name in map(_ours, filter(_hashable, columns.values()))} | units
    if len({unit for name, unit in units.items() if name in PRESSURES}) > 1:
        yield "columns: systolic and diastolic must have the same unit"


def _hashable(value: Any) -> bool:
    return isinstance(value, str)


def _unknown(name: Any, allowed: Any) -> str:
    hint = near(name, allowed)
    return f"{name}: no such name" + (f" ({hint})" if hint else "")
