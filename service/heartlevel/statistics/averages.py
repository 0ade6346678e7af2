"""Averages of selected readings by group, pooled and by day, with what is needed to say how sure they are."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, mean_by, moments_by, sum_by
from heartlevel.intake.batch import Batch

# Values are shown to a whole unit, so days that agree exactly still differ by that much: the standard
# uncertainty of a resolution of 1 (JCGM 100:2008, F.2.2.1).
ROUNDING = 12**-0.5
QUANTITIES = ("systolic", "diastolic", "pulse")


@dataclass(frozen=True, slots=True)
class Averages:
    """Arrays of a row a selection and a column a group; from `mean` on the first axis is the quantity.

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


@dataclass(frozen=True, slots=True)
class _Chosen:
    """Readings that selections take, a reading once for each: the cell of its group and day, of so many in all."""

    group: Ints
    day: Ints
    owner: Ints  # of each day's cell, that of its group
    size: int  # cells of groups
    in_group: Floats  # readings, by cell
    in_day: Floats


def average(batch: Batch, selections: Mapping[str, Bools]) -> Averages:
    """Average every selection of every group at once."""
    masks = np.stack(list(selections.values()))
    which, rows = np.nonzero(masks)
    group = which * batch.groups + batch.group_of[rows]
    day = which * batch.days + batch.day_of[rows]
    owner = (np.arange(len(masks))[:, None] * batch.groups + batch.group_of_day).ravel()
    size, shape = len(masks) * batch.groups, (len(masks), batch.groups)
    chosen = _Chosen(group, day, owner, size, count_by(group, size), count_by(day, len(owner)))
    with np.errstate(invalid="ignore", divide="ignore"):
        by_day, summary = _summary(chosen, np.stack([batch.readings[name][rows] for name in QUANTITIES]))
        correlation = _correlation(owner, size, *by_day.reshape(len(QUANTITIES), -1)[:2])
    return Averages(
        selections=tuple(selections),
        readings=chosen.in_group.reshape(shape),
        days=count_by(owner, size, chosen.in_day > 0).reshape(shape),
        correlation=correlation.reshape(shape),
        **{name: column.reshape(len(QUANTITIES), *shape) for name, column in summary.items()},
    )


def _summary(chosen: _Chosen, values: Floats) -> tuple[Floats, dict[str, Floats]]:
    """Return the day means, and columns of `Averages`, of quantities (a row each)."""
    quantity, size = np.arange(len(values))[:, None], chosen.size
    group, day = quantity * size + chosen.group, quantity * len(chosen.owner) + chosen.day
    owner = (quantity * size + chosen.owner).ravel()
    known = ~np.isnan(values)
    if known.all():
        in_group, readings = (np.tile(count, len(values)) for count in (chosen.in_group, chosen.in_day))
        group, day, recorded = group.ravel(), day.ravel(), values.ravel()
    else:
        group, day, recorded = group[known], day[known], values[known]
        in_group, readings = count_by(group, len(values) * size), count_by(day, len(owner))
    mean, sd, _ = moments_by(group, len(values) * size, recorded, in_group)
    by_day, measured = sum_by(day, len(owner), recorded) / readings, readings > 0
    day_mean, between, days = moments_by(owner[measured], len(values) * size, by_day[measured])
    error = np.maximum(between, ROUNDING) / np.sqrt(days)
    return by_day, {"mean": mean, "sd": sd, "day_mean": day_mean, "day_count": days, "standard_error": error}


def _correlation(owner: Ints, size: int, first: Floats, second: Floats) -> Floats:
    """Return the correlation of two quantities' day means; 0 where a spread is nil."""
    measured = ~np.isnan(first) & ~np.isnan(second)
    owner = owner[measured]
    x, y = first[measured], second[measured]
    x, y = x - mean_by(owner, size, x)[owner], y - mean_by(owner, size, y)[owner]
    spread = np.sqrt(sum_by(owner, size, x * x) * sum_by(owner, size, y * y))
    return np.where(spread > 0, sum_by(owner, size, x * y) / spread, 0.0)
