"""Whether the figures that layers bring make sense beside those below: limits of sides, and readings for a category."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from heartlevel.profiles import Guideline, Protocol
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.safety.remarks import Unusual
from heartlevel.vocabulary import PRESSURES

FAR, UNUSUALLY_FAR = 10.0, 5.0  # mm[Hg] from the corresponding value: refused above, to be answered above
MUCH_LOWER = 20.0  # mm[Hg] of a severe limit
OUTSIDE = ("home", "ambulatory-day")  # sides whose limits the correspondence tells
# Fewest readings and days of a category, by place in a protocol: one is none.
COUNTS: tuple[KeyPath, ...] = (
    ("home", "minimum_recorded"), ("home", "minimum_days"), ("office", "minimum_readings"),
    ("ambulatory", "minimum_day_readings"), ("ambulatory", "minimum_night_readings"),
)  # fmt: skip


def senseless_figures(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault | Unusual]:
    """Yield what is wrong or unusual with the figures of guidelines and protocols that layers add or change."""
    rows = [row for guideline in base.guidelines.values() for row in _correspondence(guideline)]
    for name, guideline in laid.guidelines.items():
        below = base.guidelines.get(name)
        if below is None or below.written != guideline.written:
            entry = laid.entries["guideline", name]
            yield from _apart(entry, guideline, _correspondence(guideline) or rows)
            yield from _night_above_day(entry, guideline)
            yield from _unusual_limits(entry, guideline, base)
    for name, protocol in laid.protocols.items():
        if name not in base.protocols or base.protocols[name].written != protocol.written:
            yield from _too_few(laid.entries["protocol", name], protocol, base)


def _correspondence(guideline: Guideline) -> Sequence[Mapping[str, Any]]:
    rows = guideline.written.get("correspondence") or ()
    return [row for row in rows if mapping(row).get("office")]


def _apart(entry: Entry, guideline: Guideline, rows: Sequence[Mapping[str, Any]]) -> Iterator[RuleFault | Unusual]:
    """Yield each limit outside the office that is far from the one that corresponds to the office's."""
    for side in OUTSIDE:
        for index, pressure in enumerate(PRESSURES):
            pairs = sorted((row["office"][index], row[side][index]) for row in rows if row.get(side))
            office, own = (guideline.limits[f"{name}.hypertension.{pressure}"] for name in ("office", side))
            if not pairs or np.isnan(office) or np.isnan(own):
                continue
            at, values = zip(*pairs, strict=True)
            wanted = float(np.interp(office, np.array(at), np.array(values)))
            path = ("limits", side, "hypertension", pressure)
            detail = (
                f"{side} {pressure} {own:g} is {abs(own - wanted):g} from the {wanted:g} that corresponds to {office:g}"
            )
            if abs(own - wanted) > FAR:
                yield entry.fault(path, "limits-order", f"{detail} in the office")
            elif abs(own - wanted) > UNUSUALLY_FAR:
                yield Unusual("guideline", guideline.id, entry, path, f"{detail} in the office")


def _night_above_day(entry: Entry, guideline: Guideline) -> Iterator[RuleFault]:
    for lower, higher in (("night", "24h"), ("24h", "day"), ("night", "day")):
        for pressure in PRESSURES:
            low, high = (guideline.limits[f"ambulatory-{name}.hypertension.{pressure}"] for name in (lower, higher))
            if low > high:  # one that is not published is NaN, and above nothing
                path = ("limits", f"ambulatory-{lower}", "hypertension", pressure)
                detail = f"ambulatory-{lower} {pressure} {low:g} is above ambulatory-{higher} {high:g}"
                yield entry.fault(path, "limits-order", detail)


def _unusual_limits(entry: Entry, guideline: Guideline, base: RuleSet) -> Iterator[Unusual]:
    for pressure in PRESSURES:
        name = f"severe.{pressure}"
        least = min(other.limits[name] for other in base.guidelines.values())
        if guideline.limits[name] < least - MUCH_LOWER:
            detail = f"severe {pressure} {guideline.limits[name]:g} is far below the {least:g} of every guideline below"
            yield Unusual("guideline", guideline.id, entry, ("limits", *name.split(".")), detail)
    youngest = min(other.adults_from_years for other in base.guidelines.values())
    if guideline.adults_from_years < youngest:
        detail = f"people from {guideline.adults_from_years:g} years would be classified as adults, below from {youngest:g}"
        yield Unusual("guideline", guideline.id, entry, ("adults_from_years",), detail)


def _too_few(entry: Entry, protocol: Protocol, base: RuleSet) -> Iterator[RuleFault | Unusual]:
    for path in COUNTS:
        field = ".".join(map(str, path))
        name = f"protocol.{field}"
        # What is recorded and what is kept of it ask for readings alike: the stricter of both counts.
        kept = protocol.limits["protocol.home.minimum_kept"] if path == ("home", "minimum_recorded") else 0
        count = max(protocol.limits[name], kept)
        fewest = min(other.limits[name] for other in base.protocols.values())
        if count < min(fewest, 2):
            yield entry.fault(path, "too-few-readings", f"{field} {count:g}: one reading makes no category")
        elif count < fewest:
            detail = f"{field} {count:g} is below the {fewest:g} of every protocol below"
            yield Unusual("protocol", protocol.id, entry, path, detail)
