"""The fields of the request that are facts themselves, found in the declarations of the schema."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from math import inf
from typing import Any

import numpy as np

from heartlevel.columns import Floats
from heartlevel.intake.blocks.members import fields_within
from heartlevel.intake.fields import UNREAD, Block, Choice, Flag, Number
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

    def coded(self, values: Sequence[Any]) -> Iterable[float | None]:
        """Return what the field holds in each object as it stands in a column; None or NaN for unknown."""
        return values if self.code is None else map(self.code, values)


class LikeObjects:
    """Objects of one kind, taken apart into lists of their values, a list a name; None for what an object has not.

    Those with the same names in the same order, as programs write them, are taken apart in one step.
    """

    def __init__(self, objects: Sequence[Mapping[str, Any]]) -> None:
        """Take the objects apart; the objects in them when these are first asked for."""
        self.size = len(objects)
        self._values = _by_name(objects)
        self._parts: dict[str, LikeObjects] = {}

    def values(self, path: tuple[str, ...]) -> Sequence[Any] | None:
        """Return what each object has at a path of names; None where none has anything."""
        name, *within = path
        return self._part(name).values(tuple(within)) if within else self._values.get(name)

    def _part(self, name: str) -> "LikeObjects":
        if name not in self._parts:
            self._parts[name] = LikeObjects([item or {} for item in self._values.get(name, ())])
        return self._parts[name]


def _by_name(objects: Sequence[Mapping[str, Any]]) -> dict[str, Sequence[Any]]:
    names_of = list(map(tuple, objects))
    if len(set(names_of)) == 1:
        return dict(zip(names_of[0], zip(*(item.values() for item in objects), strict=True), strict=True))
    rows_of: dict[tuple[str, ...], list[int]] = {}
    for row, known in enumerate(names_of):
        rows_of.setdefault(known, []).append(row)
    values: dict[str, Sequence[Any]] = {}
    for names, rows in rows_of.items():
        for name, column in zip(names, zip(*(objects[row].values() for row in rows), strict=True), strict=True):
            whole = values.setdefault(name, [None] * len(objects))
            assert isinstance(whole, list)
            for row, value in zip(rows, column, strict=True):
                whole[row] = value
    return values


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


def recorded_columns(declared: Sequence[Recorded], objects: LikeObjects) -> dict[str, Floats]:
    """Return the declared facts of like objects: a column a fact, a row an object; None and absent are NaN."""
    table = np.full((len(declared), objects.size), np.nan)
    lists: dict[tuple[str, ...], list[int]] = {}
    for row, field in enumerate(declared):
        if field.listed:
            lists.setdefault(field.path, []).append(row)
        elif (values := objects.values(field.path)) is not None:
            table[row] = np.fromiter(field.coded(values), np.float64, objects.size)  # None becomes NaN
    for path, rows in lists.items():
        if (values := objects.values(path)) is not None:
            table[rows] = _told_by_lists([declared[row] for row in rows], values)
    return dict(zip((field.fact for field in declared), table, strict=True))


def _told_by_lists(fields: Sequence[Recorded], lists: Sequence[Sequence[str | None] | None]) -> Floats:
    """Return the facts that are told by one list of names, a row each: each different list is looked through once."""
    number = dict[tuple[str | None, ...] | None, int]()
    number_of = [number.setdefault(None if names is None else tuple(names), len(number)) for names in lists]
    codes = [[*field.coded([*number])] for field in fields]
    return np.array(codes, dtype=np.float64)[:, number_of]
