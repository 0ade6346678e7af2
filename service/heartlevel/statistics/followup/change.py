"""Whether two averages of one person differ by more than chance: what lies between weeks, and between days, is in it."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from heartlevel.columns import Floats, Ints
from heartlevel.profiles import UsualChange

STATES = ("none", "possible", "lower", "higher")
NONE, POSSIBLE, LOWER, HIGHER = range(len(STATES))
TWO_SIDED_95 = float(ndtri(0.975))
YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Averaged:
    """Averages of some days (mm[Hg]; a row a pressure): their means, how many days, and the standard error by the days."""

    mean: Floats
    days: Floats
    error: Floats  # NaN where days cannot tell


@dataclass(frozen=True, slots=True)
class AveragesChanged:
    """Later less earlier (mm[Hg]; a row a pressure), the 95 % interval, and what it amounts to: a number in STATES."""

    difference: Floats
    low: Floats
    high: Floats
    state: Ints


def changed_averages(before: Averaged, after: Averaged, usual: UsualChange, season: Floats) -> AveragesChanged:
    """Return how averages of the same people differ. `season` (mm[Hg]) widens the interval either way.

    A difference of two averages has the variance 2 tau² + s²/n of each, with tau the spread between periods that more days
    do not lessen. A week's own days alone say too little: SD 8.6 over 7 days gives 4.6 for the difference of two weeks, and
    7.7 was observed (Asayama et al., J Hypertens 2022;40:398).
    """
    difference = after.mean - before.mean
    variance = _variance_of_mean(before, usual) + _variance_of_mean(after, usual)
    half = TWO_SIDED_95 * np.sqrt(2 * np.array(usual.between_periods)[:, None] ** 2 + variance) + season
    low, high = difference - half, difference + half
    size, beyond = np.abs(difference), (low > 0) | (high < 0)
    clear = np.any((size >= np.array(usual.clear_from)[:, None]) & beyond, axis=0)
    possible = np.any(size >= np.array(usual.possible_from)[:, None], axis=0)
    systolic = np.where(np.abs(difference[0]) * usual.clear_from[1] >= np.abs(difference[1]) * usual.clear_from[0], 0, 1)
    leading = np.take_along_axis(difference, systolic[None], axis=0)[0]
    return AveragesChanged(
        difference, low, high, np.select([clear & (leading < 0), clear, possible], [LOWER, HIGHER, POSSIBLE], NONE)
    )


def _variance_of_mean(averaged: Averaged, usual: UsualChange) -> Floats:
    """Return the variance of a mean of days, theirs pooled with what is usual by degrees of freedom."""
    own = np.maximum(averaged.days - 1, 0) * np.nan_to_num(averaged.error**2 * averaged.days)
    usually = usual.degrees * np.array(usual.between_days)[:, None] ** 2
    pooled: Floats = (own + usually) / (np.maximum(averaged.days - 1, 0) + usual.degrees) / averaged.days
    return pooled


def days_of_year_apart(first: Floats, second: Floats) -> Floats:
    """Return how many days of the year lie between two days, the shorter way round."""
    apart = np.abs(first - second) % YEAR
    return np.minimum(apart, YEAR - apart)
