"""Cells: the stretches into which comparisons cut a fact's values, and the simplest value of each."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from math import inf
from typing import TypeAlias

import numpy as np

from heartlevel.columns import TOLERANCE
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import Term

Ranges: TypeAlias = Mapping[str, tuple[float, float]]  # lowest and highest value of facts that cannot have others
ANY_VALUE: Ranges = {}
ANYWHERE = 100.0  # a value between this and its negative stands for all where nothing is compared


def cell_values(fact: Fact, terms: Sequence[Term], limits: Mapping[str, float], within: Ranges = ANY_VALUE) -> list[float]:
    """Return one value for each cell into which comparisons cut a fact's values, unknown left out."""
    low, high = within.get(fact.name, (-inf, inf))
    return [value for value in _cells(fact, terms, limits) if low <= value <= high]


def _cells(fact: Fact, terms: Sequence[Term], limits: Mapping[str, float]) -> list[float]:
    if fact.kind == "flag":
        return [0.0, 1.0]
    figures = [figure for term in terms if term.operator != "known" for figure in term.figures(limits)]
    compared = {figure for figure in figures if not np.isnan(figure)}  # a limit that is not published cuts nothing
    if fact.kind == "choice":
        others = [float(code) for code in range(len(fact.names)) if code not in compared]
        return sorted([*compared, *others[:1]])  # all names compared with nothing are alike
    return sorted(value for value in set(_numbers(sorted(compared), fact)) if fact.low <= value <= fact.high)


def _numbers(limits: Sequence[float], fact: Fact) -> Iterator[float]:
    """Yield the limits, a value on either side of all of them, and one between neighbours."""
    if not limits:
        yield from _between(-ANYWHERE, ANYWHERE, fact, 0.0)
        return
    yield from limits
    yield from _between(limits[0] - 1.5 * _scale(limits[0]), limits[0], fact, limits[0])
    yield from _between(limits[-1], limits[-1] + 1.5 * _scale(limits[-1]), fact, limits[-1])
    for below, above in pairwise(limits):
        if above - below > 4 * TOLERANCE:
            yield from _between(below, above, fact, (below + above) / 2)
        else:  # hardly apart: their tolerances overlap, so every edge counts
            edges = [value + sign * TOLERANCE for value in (below, above) for sign in (-1, 1)]
            yield from (float(np.nextafter(edge, edge + side)) for edge in edges for side in (-1, 0, 1))


def _between(below: float, above: float, fact: Fact, near: float) -> Iterator[float]:
    """Yield the simplest value strictly between two that a request can record, if there is one."""
    low, high = max(below, fact.low), min(above, fact.high)
    values = [bound for bound in (fact.low, fact.high) if below + 2 * TOLERANCE < bound < above - 2 * TOLERANCE]
    if high - low > 4 * TOLERANCE:
        values.append(simplest(low, high, near))
    yield from sorted(values, key=lambda value: (digits(value), abs(value - near)))[:1]


def _scale(limit: float) -> float:
    """Return the power of ten of a number: 100 for 130, 0.1 for 0.37."""
    return float(10.0 ** np.floor(np.log10(abs(limit)))) if limit else 1.0


def simplest(low: float, high: float, near: float) -> float:
    """Return the roundest number strictly between two; of equally round ones the nearest to `near`."""
    step = _scale(high - low)
    while step > TOLERANCE:
        first, last = np.floor(low / step) + 1, np.ceil(high / step) - 1
        steps = min(max(np.rint(near / step), first), last)
        value = float(f"{steps * step:.12g}")
        if first <= last and low + 2 * TOLERANCE < value < high - 2 * TOLERANCE:
            return value
        step /= 10
    return (low + high) / 2


def digits(value: float) -> int:
    """Count the signs a number is written with, zeros at its ends left out."""
    return max(len(f"{abs(value):.12g}".strip("0")), 1) + (value < 0)
