"""Variability of a group's readings: from one to the next, from day to day, from morning to evening."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, mean_by, moments_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.statistics.averages import ROUNDING
from heartlevel.statistics.uncertainty import interval95


@dataclass(frozen=True, slots=True)
class Variability:
    """One value a group, NaN where undefined; in the unit of the values, but `cv` in per cent."""

    sd: Floats  # n−1
    cv: Floats  # coefficient of variation
    arv: Floats  # average real variability, each step counting alike
    arv_weighted: Floats  # each step counting by the time it took
    day_sd: Floats  # of the days' means, n−1


@dataclass(frozen=True, slots=True)
class Paired:
    """The mean of differences within a day, one a group, with its 95 % t interval; NaN where undefined."""

    days: Floats
    mean: Floats
    low: Floats
    high: Floats


def variability(batch: Batch, values: Floats, chosen: Bools) -> Variability:
    """Return the variability of the chosen readings in time order (ARV: Mena et al. 2005, plain and time-weighted)."""
    rows = np.flatnonzero(chosen)
    rows = rows[np.argsort(batch.group_of[rows], kind="stable")]
    group, value = batch.group_of[rows], values[rows]
    size = batch.groups
    with np.errstate(invalid="ignore", divide="ignore"):
        mean, sd, count = moments_by(group, size, value)
        following = np.diff(group) == 0
        steps, owner = np.abs(np.diff(value))[following], group[1:][following]
        gaps = np.diff(batch.instant[rows])[following]
        arv = sum_by(owner, size, steps) / (count - 1)
        weighted = sum_by(owner, size, gaps * steps) / sum_by(owner, size, gaps)
        return Variability(sd, 100 * sd / mean, arv, weighted, _between_days(batch, rows, value))


def _between_days(batch: Batch, rows: Ints, value: Floats) -> Floats:
    means = mean_by(batch.day_of[rows], batch.days, value)
    measured = ~np.isnan(means)
    _, sd, _ = moments_by(batch.group_of_day[measured], batch.groups, means[measured])
    return sd


def paired_by_day(batch: Batch, values: Floats, first: Bools, second: Bools) -> Paired:
    """Return the mean difference, first minus second, of the means of days that have readings of both."""
    of_first, of_second = (mean_by(batch.day_of[rows], batch.days, values[rows]) for rows in (first, second))
    difference = of_first - of_second
    both = ~np.isnan(difference)
    mean, sd, days = moments_by(batch.group_of_day[both], batch.groups, difference[both])
    with np.errstate(invalid="ignore", divide="ignore"):
        error = np.maximum(sd, ROUNDING) / np.sqrt(days)
    return Paired(days, mean, *interval95(mean, error, days))
