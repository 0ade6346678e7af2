"""The fields of the request that are facts themselves, found in the declarations of the schema."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from math import inf
from typing import Any

import numpy as np

from heartlevel.columns import Floats
from heartlevel.intake.fields import UNREAD, Block, Choice, Flag, Number, fields_within
from heartlevel.intake.schema import Device, Reading, Subject
from heartlevel.vocabulary import CIRCUMSTANCES, SIDES, SYMPTOMS


@dataclass(frozen=True, slots=True)
class Recorded:
    """A field that is a fact, or a column that facts are derived from: its path in its object and how it is coded."""

    fact: str
    path: tuple[str, ...]  # the names of the objects around it, then its own
    kind: str  # number, flag or choice
    unit: str | None = None
    meaning: str = ""
    names: tuple[str, ...] = ()
    low: float = -inf
    high: float = inf
    code: Callable[[Any], float | None] | None = None  # of what the field holds; without it that is the code itself
    listed: bool = False  # told by a list of names, which may tell of other fields too

    def values(self, objects: Sequence[Mapping[str, Any]]) -> list[float | None]:
        """Return the field of each object as it stands in a column; None or NaN for unknown."""
        name, code = self.path[-1], self.code
        return [item.get(name) for item in objects] if code is None else [code(item.get(name)) for item in objects]


def recorded_in(block: Block) -> Iterator[Recorded]:
    """Yield the fields of an object, and of the objects in it, that are facts."""
    for path, field in fields_within(block):
        if "fact" in field.metadata:
            kind = {Flag: "flag", Choice: "choice"}.get(type(field), "number")
            names = field.names if isinstance(field, Choice) else ()
            low, high = (field.low, field.high) if isinstance(field, Number) else (-inf, inf)
            code = {name: code for code, name in enumerate(names)}.get if names else None
            notes = field.metadata
            yield Recorded(notes["fact"], path, kind, notes.get("unit"), notes["description"], names, low, high, code)


def _ordinal(day: str | None) -> float | None:
    """Return a date, YYYY-MM-DD, as its proleptic ordinal."""
    return float(date.fromisoformat(day).toordinal()) if day else None


def _hours(clock: str | None) -> float | None:
    """Return a time of day, HH:MM, as hours since midnight."""
    return int(clock[:2]) + int(clock[3:5]) / 60 if clock else None


def _listed(name: str, items: Sequence[str | None] | None) -> bool | None:
    """Return whether a name is in a list; None without a list, or where it may be the item that could not be read."""
    if items is None or name in items:
        return None if items is None else True
    return None if UNREAD in items else False


SYMPTOM_BITS: dict[str | None, int] = {name: 1 << bit for bit, name in enumerate((*SYMPTOMS, UNREAD))}


def symptom_bits(names: Iterable[str | None] | None) -> float | None:
    """Return a list of symptoms as the sum of their bits; None where nobody was asked."""
    return None if names is None else float(sum(SYMPTOM_BITS[name] for name in set(names)))


SUBJECT = tuple(recorded_in(Subject()))
READING = tuple(recorded_in(Reading()))
DEVICE = tuple(recorded_in(Device()))
LISTED = tuple(
    Recorded("circumstance_" + name.replace("-", "_"), ("circumstances",), "flag", code=partial(_listed, name), listed=True,
             meaning=f"'{name}' was listed among the circumstances")
    for name in CIRCUMSTANCES
)  # fmt: skip
# Columns: the facts, and what others are derived from.
OF_SUBJECTS = (
    *SUBJECT, Recorded("treatment_since", ("treatment_since",), "number", code=_ordinal),
    *(Recorded(name, (name,), "number", code=_hours) for name in ("usual_waking", "usual_sleep")),
    *(Recorded(f"circumference_{side}", ("arm_circumference_cm", side), "number") for side in SIDES),
    *(Recorded(f"avoid_{side}", ("avoid_arms",), "flag", code=partial(_listed, side), listed=True) for side in SIDES),
)  # fmt: skip
OF_READINGS = (*READING, *LISTED, Recorded("symptom_bits", ("symptoms",), "number", code=symptom_bits, listed=True))
OF_DEVICES = (*DEVICE, Recorded("device_checked_on", ("checked_on",), "number", code=_ordinal))


def recorded_columns(declared: Sequence[Recorded], objects: Sequence[Mapping[str, Any]]) -> dict[str, Floats]:
    """Return the declared facts of like objects: a column a fact, a row an object; None and absent are NaN."""
    inner: dict[tuple[str, ...], Sequence[Mapping[str, Any]]] = {(): objects}
    for path in sorted({field.path[:-1] for field in declared}, key=len):
        if path:
            inner[path] = [item.get(path[-1]) or {} for item in inner[path[:-1]]]
    of_lists = [field for field in declared if field.listed]
    others = [field for field in declared if not field.listed]
    names = {path: frozenset().union(*items) for path, items in inner.items()}
    told = [number for number, field in enumerate(others) if field.path[-1] in names[field.path[:-1]]]
    rows = [others[number].values(inner[others[number].path[:-1]]) for number in told]
    # One array for all columns: making many small ones takes longer. None becomes NaN.
    table = np.full((len(others), len(objects)), np.nan)
    table[told] = np.array(rows, dtype=np.float64).reshape(len(told), len(objects))
    columns = dict(zip((field.fact for field in others), table, strict=True))
    for path in dict.fromkeys(field.path for field in of_lists):
        columns |= _columns_of_lists([field for field in of_lists if field.path == path], inner[path[:-1]])
    return {field.fact: columns[field.fact] for field in declared}


def _columns_of_lists(fields: Sequence[Recorded], objects: Sequence[Mapping[str, Any]]) -> dict[str, Floats]:
    """Return the facts that are told by one list of names: each different list is looked through once."""
    name, number = fields[0].path[-1], dict[tuple[str | None, ...] | None, int]()
    lists = (None if (names := item.get(name)) is None else tuple(names) for item in objects)
    number_of = np.array([number.setdefault(names, len(number)) for names in lists], dtype=np.int64)
    codes = [[field.code(names) for names in number] for field in fields if field.code]
    told = np.array(codes, dtype=np.float64).reshape(len(fields), len(number))[:, number_of]
    return dict(zip((field.fact for field in fields), told, strict=True))
