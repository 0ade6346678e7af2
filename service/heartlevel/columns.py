"""Columns: NumPy arrays over all rows of a scope, one a fact, computed when first asked for.

Numbers are float64 with NaN for unknown; a flag is 1, 0 or NaN; a choice is its place in its vocabulary or NaN.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Generic, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]

# Converted and averaged pressures carry rounding in the last digits; 134.99999999999997 is 135.
TOLERANCE = 1e-9

Numbers = TypeVar("Numbers", Floats, Ints)
Source = TypeVar("Source")
Made = TypeVar("Made")


class Columns(Generic[Source]):
    """The facts of one scope by name. `source` is what the derived ones are computed from."""

    def __init__(
        self,
        source: Source,
        recorded: Mapping[str, Floats],
        derived: Mapping[str, Callable[["Columns[Source]"], Floats]],
        of_subjects: Mapping[str, Floats] | None = None,
        subject_of: Ints | None = None,
    ) -> None:
        """Take the recorded columns, the functions of the derived ones, and the subjects' with each row's subject."""
        self.source = source
        self._known = dict(recorded)
        self._derived = derived
        self._of_subjects, self._subject_of = of_subjects or {}, subject_of
        self._made: dict[Callable[[Columns[Source]], Any], Any] = {}

    def __getitem__(self, name: str) -> Floats:
        """Return a fact's column; KeyError if the scope has no such fact."""
        column = self._known.get(name)
        if column is None:
            column = self._known[name] = self._made_of(name)
        return column

    def _made_of(self, name: str) -> Floats:
        derivation = self._derived.get(name)
        return derivation(self) if derivation else self._of_subjects[name][self._subject_of]

    def once(self, make: Callable[["Columns[Source]"], Made]) -> Made:
        """Return what a function makes of these columns; several facts may need it, and it is made once."""
        if make not in self._made:
            self._made[make] = make(self)
        made: Made = self._made[make]
        return made


def steps(values: Numbers) -> Numbers:
    """Return each value less the one before it: `numpy.diff` for one axis, without its overhead."""
    return values[1:] - values[:-1]


def count_by(groups: Ints, size: int, chosen: Bools | None = None) -> Floats:
    """Count the (chosen) rows of each group."""
    return np.bincount(groups if chosen is None else groups[chosen], minlength=size).astype(np.float64)


def sum_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Add up each group's values in row order, so that a sum never depends on what else is in the batch."""
    # With nothing to add NumPy counts instead, in integers.
    return np.bincount(groups, weights=values, minlength=size).astype(np.float64, copy=False)


def extreme_by(groups: Ints, size: int, values: Floats, *, largest: bool) -> Floats:
    """Return each group's largest or smallest known value; NaN where there is none."""
    result = np.full(size, np.nan)
    (np.fmax if largest else np.fmin).at(result, groups, values)
    return result


def median_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Return the median of each group's values; NaN where there are none."""
    result = np.full(size, np.nan)
    order = np.lexsort((values, groups))
    counts = np.bincount(groups, minlength=size)
    has = counts > 0
    starts = np.cumsum(counts)[has] - counts[has]
    low, high = (values[order][starts + middle] for middle in ((counts[has] - 1) // 2, counts[has] // 2))
    result[has] = (low + high) / 2
    return result


def stretches(ends: Ints, most_rows: int, most_groups: int) -> Iterator[slice]:
    """Yield runs of whole groups, of about so many rows, at least one group each. `ends`: the rows up to each end."""
    first = 0
    while first < len(ends):
        before = int(ends[first - 1]) if first else 0
        last = int(np.searchsorted(ends, before + most_rows, side="right"))
        last = min(max(last, first + 1), first + most_groups, len(ends))
        yield slice(first, last)
        first = last


def rank_within(groups: Ints, size: int) -> Ints:
    """Return each row's place, from 0, among the rows of its group."""
    order = np.argsort(groups, kind="stable")
    counts = np.bincount(groups, minlength=size)
    starts = np.cumsum(counts) - counts
    ranks = np.empty(len(groups), dtype=np.int64)
    ranks[order] = np.arange(len(groups)) - starts[groups[order]]
    return ranks
