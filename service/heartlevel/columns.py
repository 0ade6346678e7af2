"""Columns: NumPy arrays over all rows of a scope, one a fact, computed when first asked for.

Numbers are float64 with NaN for unknown; a flag is 1, 0 or NaN; a choice is its index in its vocabulary or NaN.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Generic, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from heartlevel.kernels import arrays, cells

Floats: TypeAlias = arrays.Floats
Ints: TypeAlias = arrays.Ints
Bools: TypeAlias = npt.NDArray[np.bool_]

# Converted and averaged pressures carry rounding in the last digits; 134.99999999999997 is 135.
TOLERANCE = 1e-9

Numbers = TypeVar("Numbers", Floats, Ints)
Source = TypeVar("Source")
Computed = TypeVar("Computed")


class Columns(Generic[Source]):
    """The facts of one scope by name. `source` is what the derived ones are computed from."""

    def __init__(
        self,
        source: Source,
        derived: Mapping[str, Callable[["Columns[Source]"], Floats]],
        subjects: Mapping[str, Floats],
        subject_of: Ints,
        recorded: Mapping[str, Floats] | None = None,
    ) -> None:
        """Take the functions of derived columns, the subjects' columns with each row's subject, and recorded columns."""
        self.source, self.subject_of = source, subject_of
        self._derived, self._subjects, self._known = derived, subjects, dict(recorded or {})
        self._shared: dict[Callable[[Columns[Source]], Any], Any] = {}

    def __getitem__(self, name: str) -> Floats:
        """Return a fact's column; KeyError if the scope has no such fact."""
        column = self._known.get(name)
        if column is None:
            column = self._known[name] = self._compute(name)
        return column

    def _compute(self, name: str) -> Floats:
        derivation = self._derived.get(name)
        column = derivation(self) if derivation else self._subjects[name][self.subject_of]
        return np.ascontiguousarray(column, dtype=np.float64)  # as compiled loops take it

    def once(self, compute: Callable[["Columns[Source]"], Computed]) -> Computed:
        """Return what a function computes from these columns; facts that share it have it computed once."""
        if compute not in self._shared:
            self._shared[compute] = compute(self)
        result: Computed = self._shared[compute]
        return result


def steps(values: Numbers) -> Numbers:
    """Return each value less the one before it: `numpy.diff` for one axis, without its overhead."""
    return values[1:] - values[:-1]


# What NumPy has for the next four takes many times as long for few values.


def among(values: Floats | Ints, members: Iterable[int]) -> Bools:
    """Mark the values that are one of a few."""
    marked: Bools = np.zeros(len(values), dtype=np.bool_)
    for member in members:
        marked |= values == member
    return marked


def or_zero(values: Floats) -> Floats:
    """Return the values, with 0 for what is unknown."""
    return np.where(np.isnan(values), 0.0, values)


def within(values: Floats, low: float, high: float) -> Floats:
    """Return the values, with an end in place of what lies beyond it."""
    ended: Floats = np.minimum(np.maximum(values, low), high)
    return ended


def first_case(cases: Sequence[tuple[Any, Any]], otherwise: float) -> npt.NDArray[Any]:
    """Return for each row the value of the first case that is marked there."""
    chosen: npt.NDArray[Any] = np.asarray(otherwise)
    for marked, value in reversed(cases):
        chosen = np.where(marked, value, chosen)
    return chosen


def count_by(groups: Ints, size: int, chosen: Bools | None = None) -> Floats:
    """Count the (chosen) rows of each group."""
    return np.bincount(groups if chosen is None else groups[chosen], minlength=size).astype(np.float64)


def sum_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Add up each group's values in row order, so that a sum never depends on what else is in the batch."""
    # With nothing to add NumPy counts instead, in integers.
    return np.bincount(groups, weights=values, minlength=size).astype(np.float64, copy=False)


def mean_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Return the mean of each group's values; NaN where there are none."""
    _, mean = _means_by(groups, size, values)
    return mean


def moments_by(groups: Ints, size: int, values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return mean, standard deviation (n−1) and number of each group's values; NaN where undefined."""
    count, mean = _means_by(groups, size, values)
    squares = np.zeros(size)
    cells.fill_squares(groups, values, mean, squares)
    with np.errstate(invalid="ignore", divide="ignore"):
        return mean, np.sqrt(squares / (count - 1)), count


def _means_by(groups: Ints, size: int, values: Floats) -> tuple[Floats, Floats]:
    count, mean = np.zeros(size), np.zeros(size)
    cells.fill_means(groups, values, count, mean)
    return count, mean


def extreme_by(groups: Ints, size: int, values: Floats, *, largest: bool) -> Floats:
    """Return each group's largest or smallest known value; NaN where there is none."""
    result = np.full(size, np.nan)
    if len(groups):
        (np.fmax if largest else np.fmin).at(result, groups, values)
    return result


def spread_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Return each group's largest known value less its smallest; NaN where there is none."""
    return extreme_by(groups, size, values, largest=True) - extreme_by(groups, size, values, largest=False)


def median_by(groups: Ints, size: int, values: Floats) -> Floats:
    """Return the median of each group's values; NaN where there are none."""
    result = np.full(size, np.nan)
    order = np.lexsort((values, groups))
    counts = np.bincount(groups, minlength=size)
    filled = counts > 0
    starts = np.cumsum(counts)[filled] - counts[filled]
    low, high = (values[order][starts + middle] for middle in ((counts[filled] - 1) // 2, counts[filled] // 2))
    result[filled] = (low + high) / 2
    return result


def stretches(ends: Ints, most_rows: int, most_groups: int) -> Iterator[slice]:
    """Yield slices of whole groups, at least one each, of at most so many rows and groups if a single group allows it.

    `ends` is the number of rows up to each group's end.
    """
    first = 0
    while first < len(ends):
        before = int(ends[first - 1]) if first else 0
        last = int(np.searchsorted(ends, before + most_rows, side="right"))
        last = min(max(last, first + 1), first + most_groups, len(ends))
        yield slice(first, last)
        first = last


def run_starts(*columns: Floats | Ints) -> Bools:
    """Mark the rows that differ from the row before in one of the columns; the first row is always marked."""
    starts: Bools = np.arange(len(columns[0])) == 0
    for values in columns:
        starts[1:] |= values[1:] != values[:-1]
    return starts


def rank_within(groups: Ints, size: int) -> Ints:
    """Return each row's rank, from 0, among the rows of its group."""
    order = np.argsort(groups, kind="stable")
    counts = np.bincount(groups, minlength=size)
    starts = np.cumsum(counts) - counts
    ranks = np.empty(len(groups), dtype=np.int64)
    ranks[order] = np.arange(len(groups)) - starts[groups[order]]
    return ranks
