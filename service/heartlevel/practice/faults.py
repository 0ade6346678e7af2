"""Which faults are the commonest, and what they cost."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.practice.folder import Folder, marked
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import PRESSURES

TECHNIQUE, SERIES, DEVICE, ENTRY = FAULT_KINDS = ("technique", "series", "device", "entry")
_KIND_OF_SCOPE = {"reading": TECHNIQUE, "sitting": TECHNIQUE, "device": DEVICE}


@dataclass(frozen=True, slots=True)
class FaultCosts:
    """What a rule found in the whole folder."""

    rule: str
    kind: str  # one of FAULT_KINDS
    people: int
    readings: int
    set_aside: int  # readings that are in no average
    doubtful: int  # readings
    without_category: int  # people who have none, the fault among the reasons
    off_by: tuple[tuple[float, float] | None, ...]  # a pressure each: least and most that readings are too high, mm[Hg]

    @property
    def cost(self) -> tuple[int, ...]:
        """What it costs, to be compared: categories, then readings set aside, then doubtful ones, then how many people."""
        return self.without_category, self.set_aside, self.doubtful, int(self.kind == TECHNIQUE), self.people


def fault_costs(folder: Folder, rules: Mapping[str, Rule]) -> list[FaultCosts]:
    """Return what each fault costs, the commonest first.

    A fault is what makes readings doubtful or unusable, has a published size, takes categories away, or speaks against an
    average by the rules given; what names an urgent value or a result of measuring is none.
    """
    tally = _Tally()
    for rows in folder.batches("findings"):
        told = {
            **{name: column for name, column in rows.items() if isinstance(column, np.ndarray)},
            **{name: marked(rows["effect"], name) for name in ("unusable", "doubtful")},
            "scope": rows["scope"].codes,
        }
        order = np.argsort(rows["rule"].codes, kind="stable")
        order = order[~rows["urgent"][order]]
        numbers, starts = np.unique(rows["rule"].codes[order], return_index=True)
        for number, mine in zip(numbers.tolist(), np.split(order, starts[1:]), strict=True):
            own = {name: column[mine] for name, column in told.items()}
            tally.add(rows["rule"].names[number], rows["scope"].names[own["scope"][0]], own)
    return sorted(tally.faults(rules), key=lambda fault: (-fault.people, fault.rule))


class _Tally:
    """The findings of each rule, added up batch by batch."""

    def __init__(self) -> None:
        self._costs: dict[str, FaultCosts] = {}
        self._people: dict[str, tuple[list[Ints], list[Ints]]] = {}  # of each rule: all, and those without a category

    def add(self, rule: str, scope: str, rows: Mapping[str, Any]) -> None:
        before = self._costs.get(rule) or FaultCosts(rule, _KIND_OF_SCOPE.get(scope, SERIES), 0, 0, 0, 0, 0, (None, None))
        readings = rows["readings"]
        ends = [(rows[f"{name}_off_least"], rows[f"{name}_off_most"]) for name in PRESSURES]
        self._costs[rule] = replace(
            before,
            readings=before.readings + int(readings.sum()),
            set_aside=before.set_aside + int(readings[rows["unusable"]].sum()),
            doubtful=before.doubtful + int(readings[rows["doubtful"]].sum()),
            off_by=tuple(_wider(known, *both) for known, both in zip(before.off_by, ends, strict=True)),
        )
        everybody, without = self._people.setdefault(rule, ([], []))
        everybody.append(np.unique(rows["subject"]))
        without.append(np.unique(rows["subject"][rows["takes_category_away"].astype(bool)]))

    def faults(self, rules: Mapping[str, Rule]) -> Iterator[FaultCosts]:
        for name, costs in self._costs.items():
            everybody, without = (len(np.unique(np.concatenate(parts))) for parts in self._people[name])
            rule = rules.get(name)
            fault = replace(costs, people=everybody, without_category=without)
            if rule and rule.field:
                fault = replace(fault, kind=ENTRY)
            if _costs_something(fault) or (rule is not None and bool(rule.consequences) and rule.pattern is None):
                yield fault


def _costs_something(fault: FaultCosts) -> bool:
    return bool(fault.set_aside or fault.doubtful or fault.without_category or any(fault.off_by))


def _wider(known: tuple[float, float] | None, least: Floats, most: Floats) -> tuple[float, float] | None:
    """Return the range that holds both a known one and those of some rows, NaN where there is none."""
    if np.isnan(least).all():
        return known
    low, high = float(np.nanmin(least)), float(np.nanmax(most))
    return (low, high) if known is None else (min(known[0], low), max(known[1], high))
