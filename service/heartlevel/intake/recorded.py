"""The fields of the request that are facts themselves, found in the declarations of the schema."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from typing import Any

import numpy as np

from heartlevel.columns import Floats
from heartlevel.intake.fields import Block, Choice, Flag, Number, Part
from heartlevel.intake.schema import Device, Reading, Subject


@dataclass(frozen=True)
class Recorded:
    """A field that is a fact: its path in its object and how it is coded in a column."""

    fact: str
    path: tuple[str, ...]  # the names of the objects around it, then its own
    kind: str  # number, flag or choice
    unit: str | None
    meaning: str
    names: tuple[str, ...] = ()
    low: float = -inf
    high: float = inf

    @cached_property
    def holder(self) -> tuple[str, ...]:
        """The path of the object that holds the field."""
        return self.path[:-1]

    @cached_property
    def codes(self) -> Mapping[str | None, int]:
        """The codes of a choice's names."""
        return {value: code for code, value in enumerate(self.names)}

    def values(self, objects: Sequence[Mapping[str, Any]]) -> list[float | None]:
        """Return the field of each object as it stands in a column; None for unknown."""
        name = self.path[-1]
        if self.kind != "choice":
            return [item.get(name) for item in objects]
        return [self.codes.get(item.get(name)) for item in objects]


def _fields(block: Block, path: tuple[str, ...] = ()) -> Iterator[Recorded]:
    for name, field in block.fields.items():
        if isinstance(field, Part):
            yield from _fields(field.schema, (*path, name))  # type: ignore[arg-type]
        elif "fact" in field.metadata:
            kind = {Flag: "flag", Choice: "choice"}.get(type(field), "number")
            names = field.names if isinstance(field, Choice) else ()
            low, high = (field.low, field.high) if isinstance(field, Number) else (-inf, inf)
            notes = field.metadata
            meaning = notes["description"]
            yield Recorded(notes["fact"], (*path, name), kind, notes.get("unit"), meaning, names, low, high)


SUBJECT = tuple(_fields(Subject()))
READING = tuple(_fields(Reading()))
DEVICE = tuple(_fields(Device()))


def recorded_columns(declared: Sequence[Recorded], objects: Sequence[Mapping[str, Any]]) -> dict[str, Floats]:
    """Return the declared facts of like objects: a column a fact, a row an object; None and absent are NaN."""
    inner: dict[tuple[str, ...], Sequence[Mapping[str, Any]]] = {(): objects}
    for path in sorted({field.holder for field in declared}, key=len):
        if path:
            inner[path] = [item.get(path[-1]) or {} for item in inner[path[:-1]]]
    rows = [field.values(inner[field.holder]) for field in declared]
    # One array for all columns: making many small ones takes longer. None becomes NaN.
    table = np.array(rows, dtype=np.float64).reshape(len(declared), len(objects))
    return dict(zip((field.fact for field in declared), table, strict=True))
