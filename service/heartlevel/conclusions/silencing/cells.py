"""The values of a fact that no comparison of a condition tells apart, and a choice of them in words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, isnan, nextafter
from typing import Any

from heartlevel.columns import TOLERANCE
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.language.explaining import WORDS, Row, decoded, spoken

# Whether someone takes medicine, or where a reading was taken, is not to be altered to quieten a rule.
NEVER_CHANGED = frozenset({"on_treatment", "setting", "sitting_setting"})
# A change of a flag, a choice, or of what was not recorded has no size: it counts for more than any of a number.
WHOLE = 2.0


@dataclass(frozen=True, slots=True)
class Cell:
    """Values of a fact that no comparison tells apart."""

    value: float | None  # the one nearest to the row's; only the row's own can be None
    far: float = 0.0  # from the row's value, relative to the sum of both: at most 1, and growing with the distance
    rank: int = -1  # among the cells of a number, in ascending order
    bounds: tuple[tuple[str, float] | None, tuple[str, float] | None] = (None, None)


@dataclass(frozen=True, slots=True)
class Cut:
    """A number at which a comparison changes: `at` is the smallest float above the cut."""

    at: float
    value: float = 0.0
    below: str = ""
    above: str = ""


def cells_compared(terms: Sequence[Term], row: Row) -> list[Cell]:
    """Return the cells a fact can be in, the one it is in now first."""
    fact = terms[0].fact
    now = row.facts.get(fact.name)
    if fact.name in NEVER_CHANGED:
        return [Cell(now)]
    if fact.kind == "number":
        return [Cell(now), *_ranges(fact, _cuts(terms, row.limits), now)]
    codes = range(2 if fact.kind == "flag" else len(fact.names))
    return [Cell(now), *(Cell(float(code), WHOLE) for code in codes if code != now)]


def _cuts(terms: Sequence[Term], limits: Mapping[str, float]) -> list[Cut]:
    cuts: dict[float, Cut] = {}
    for term in terms:
        if term.operator == "known":
            continue
        figures = term.figures(limits)
        first, last = figures[0], figures[-1]
        if isnan(first) or isnan(last):  # a limit that the guideline does not publish cuts nothing
            continue
        if term.operator not in ("above", "at_most"):
            cuts.setdefault(first - TOLERANCE, Cut(first - TOLERANCE, first, "below", "at_least"))
        if term.operator not in ("below", "at_least"):
            at = nextafter(last + TOLERANCE, inf)
            cuts.setdefault(at, Cut(at, last, "at_most", "above"))
    return sorted(cuts.values(), key=lambda cut: cut.at)


def _ranges(fact: Fact, cuts: Sequence[Cut], now: float | None) -> Iterator[Cell]:
    """Yield the ranges between the cuts that can be recorded and that the value is not in."""
    for rank, (low, high) in enumerate(pairwise([Cut(-inf), *cuts, Cut(inf)])):
        bottom, top = max(low.at, fact.low), min(nextafter(high.at, -inf), fact.high)
        if bottom > top or (now is not None and low.at <= now < high.at):
            continue
        bounds = (low.above, low.value) if low.above else None, (high.below, high.value) if high.below else None
        value = _closest(0.0 if now is None else now, bottom, top, (low.value, high.value))
        far = WHOLE if now is None else abs(value - now) / (abs(value) + abs(now))
        yield Cell(value, far, rank, bounds)


def _closest(now: float, bottom: float, top: float, written: tuple[float, float]) -> float:
    """Return the value of a range closest to another; the written bound where it is within the range."""
    if bottom <= now <= top:
        return now
    edge, value = (bottom, written[0]) if now < bottom else (top, written[1])
    return value if bottom <= value <= top else edge


def only_recording_matters(cells: Sequence[Cell], chosen: frozenset[int]) -> bool:
    """Say whether the fact was not recorded and any value of it will do."""
    return len(chosen) == len(cells) - 1 and cells[0].value is None


def value_wanted(fact: Fact, cells: Sequence[Cell], chosen: frozenset[int]) -> tuple[dict[str, Any], str]:
    """Return what the fact is to be, as operators with values and in words; `chosen` are numbers of cells."""
    if only_recording_matters(cells, chosen):
        return {"known": True}, "any value"
    if fact.kind == "number":
        return _bounds(fact, cells, chosen)
    values = [cells[number].value for number in sorted(chosen)]
    names = [decoded(fact, value) for value in values]
    to = {"equals": names[0]} if len(names) == 1 else {"one_of": names}
    return to, " or ".join(spoken(fact, value) for value in values)


def _bounds(fact: Fact, cells: Sequence[Cell], chosen: frozenset[int]) -> tuple[dict[str, Any], str]:
    """Return the bounds of the nearest cell and of those next to it that will do as well."""
    by_rank = {cells[number].rank: cells[number] for number in chosen}
    # From 0, rather upwards.
    low = high = min((cells[number] for number in chosen), key=lambda cell: (cell.far, -cell.rank))
    while low.rank - 1 in by_rank:
        low = by_rank[low.rank - 1]
    while high.rank + 1 in by_rank:
        high = by_rank[high.rank + 1]
    bounds = [bound for bound in (low.bounds[0], high.bounds[1]) if bound is not None]
    if bounds == [("at_least", bounds[0][1]), ("at_most", bounds[0][1])]:
        bounds = [("equals", bounds[0][1])]
    return dict(bounds), " and ".join(WORDS[relation].format(spoken(fact, value)) for relation, value in bounds)
