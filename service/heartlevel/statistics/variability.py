"""Variability of a group's readings: from one to the next, from day to day, from morning to evening."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.statistics.averages import ROUNDING
from heartlevel.statistics.uncertainty import interval95


@dataclass(frozen=True, slots=True)
class Variability:
    """One value a group, NaN where undefined. All are in the values' unit, but `cv` in per cent."""

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
        count = count_by(group, size)
        mean = sum_by(group, size, value) / count
        sd = np.sqrt(sum_by(group, size, (value - mean[group]) ** 2) / (count - 1))
        following = np.diff(group) == 0
        steps, owner = np.abs(np.diff(value))[following], group[1:][following]
        gaps = np.diff(batch.instant[rows])[following]
        arv = sum_by(owner, size, steps) / (count - 1)
        weighted = sum_by(owner, size, gaps * steps) / sum_by(owner, size, gaps)
        return Variability(sd, 100 * sd / mean, arv, weighted, _between_days(batch, rows, value))


def _between_days(batch: Batch, rows: Ints, value: Floats) -> Floats:
    day = batch.day_of[rows]
    readings = count_by(day, batch.days)
    measured = readings > 0
    of_day, owner = (sum_by(day, batch.days, value) / readings)[measured], batch.group_of_day[measured]
    days = count_by(owner, batch.groups)
    away = of_day - (sum_by(owner, batch.groups, of_day) / days)[owner]
    spread: Floats = np.sqrt(sum_by(owner, batch.groups, away * away) / (days - 1))
    return spread


def paired_by_day(batch: Batch, values: Floats, first: Bools, second: Bools) -> Paired:
    """Return the mean difference, first minus second, of the means of days that have readings of both."""
    size, means = batch.days, []
    with np.errstate(invalid="ignore", divide="ignore"):
        for chosen in (first, second):
            day = batch.day_of[chosen]
            means.append(sum_by(day, size, values[chosen]) / count_by(day, size))
        difference = means[0] - means[1]
        both = ~np.isnan(difference)
        owner, difference = batch.group_of_day[both], difference[both]
        days = count_by(owner, batch.groups)
        mean = sum_by(owner, batch.groups, difference) / days
        away = difference - mean[owner]
        spread = np.sqrt(sum_by(owner, batch.groups, away * away) / (days - 1))
        error = np.maximum(spread, ROUNDING) / np.sqrt(days)
    return Paired(days, mean, *interval95(mean, error, days))
