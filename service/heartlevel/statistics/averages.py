"""Averages of selected readings by group, pooled and by day, with what is needed to say how sure they are."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, sum_by
from heartlevel.intake.batch import Batch

QUANTITIES = ("systolic", "diastolic", "pulse")


@dataclass(frozen=True, slots=True)
class Averages:
    """Arrays of one row a selection and one column a group; the first axis of `mean` and on is the quantity.

    `mean` and `sd` (n−1) pool the readings. Readings of one day are not independent, so `day_mean` is the
    mean of the days' means and `standard_error` comes from the spread between days. NaN where undefined.
    """

    selections: tuple[str, ...]
    readings: Floats
    days: Floats
    mean: Floats
    sd: Floats
    day_mean: Floats
    day_count: Floats  # days with a known value of the quantity
    standard_error: Floats
    correlation: Floats  # of the days' systolic and diastolic means

    def row(self, selection: str) -> int:
        """Return the row of a selection."""
        return self.selections.index(selection)


def average(batch: Batch, selections: Mapping[str, Bools]) -> Averages:
    """Average every selection of every group at once."""
    masks = np.stack(list(selections.values()))
    which, rows = np.nonzero(masks)
    shape = (len(masks), batch.groups)
    group = which * batch.groups + batch.group_of[rows]
    day = which * batch.days + batch.day_of[rows]
    owner = (np.arange(len(masks))[:, None] * batch.groups + batch.group_of_day).ravel()
    cells = _Cells(group, day, owner, shape[0] * shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = [cells.summary(batch.readings[name][rows]) for name in QUANTITIES]
        correlation = cells.correlation(parts[0].by_day, parts[1].by_day)
    stacked = {
        name: np.stack([getattr(part, name) for part in parts]).reshape(len(parts), *shape)
        for name in ("mean", "sd", "day_mean", "day_count", "standard_error")
    }
    return Averages(
        selections=tuple(selections),
        readings=count_by(group, cells.size).reshape(shape),
        days=count_by(owner, cells.size, count_by(day, len(owner)) > 0).reshape(shape),
        correlation=correlation.reshape(shape),
        **stacked,
    )


@dataclass(frozen=True, slots=True)
class _Summary:
    mean: Floats
    sd: Floats
    by_day: Floats
    day_mean: Floats
    day_count: Floats
    standard_error: Floats


class _Cells:
    """The cells (a selection of a group) that rows and days belong to."""

    def __init__(self, group: Ints, day: Ints, owner: Ints, size: int) -> None:
        self.group, self.day, self.owner, self.size = group, day, owner, size

    def summary(self, values: Floats) -> _Summary:
        known = ~np.isnan(values)
        mean, sd, _ = _moments(self.group[known], self.size, values[known])
        by_day, _, readings = _moments(self.day[known], len(self.owner), values[known])
        measured = readings > 0
        day_mean, between, days = _moments(self.owner[measured], self.size, by_day[measured])
        return _Summary(mean, sd, by_day, day_mean, days, between / np.sqrt(days))

    def correlation(self, first: Floats, second: Floats) -> Floats:
        """Return the correlation of two quantities' day means; 0 where a spread is nil."""
        measured = ~np.isnan(first) & ~np.isnan(second)
        owner = self.owner[measured]
        x, y = first[measured], second[measured]
        x, y = x - _moments(owner, self.size, x)[0][owner], y - _moments(owner, self.size, y)[0][owner]
        spread = np.sqrt(sum_by(owner, self.size, x * x) * sum_by(owner, self.size, y * y))
        return np.where(spread > 0, sum_by(owner, self.size, x * y) / spread, 0.0)


def _moments(cells: Ints, size: int, values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return mean, standard deviation (n−1) and count of each cell."""
    count = count_by(cells, size)
    mean = sum_by(cells, size, values) / count
    away = values - mean[cells]
    return mean, np.sqrt(sum_by(cells, size, away * away) / (count - 1)), count
