"""How probable it is that more days of measuring make a category sure."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from heartlevel.columns import Floats, Ints, within
from heartlevel.profiles import Guideline, UsualSpread
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.statistics.selection import HOME
from heartlevel.statistics.sureness.certainty import bounds_of
from heartlevel.vocabulary import SETTINGS

SURE = 0.95  # the convention of intervals, here for a category
EXPECTED = 0.5  # chance of being sure from which on that is expected
AHEAD = (3, 7, 14)  # days of which the chance is told beside


@dataclass(frozen=True, slots=True)
class DaysAhead:
    """One value a subject; NaN where it cannot be told."""

    days: Floats  # the fewest more days after which being sure is expected
    chance: Floats  # of being sure then
    chances: Floats  # of being sure after each of AHEAD more days, a row each


def days_ahead(
    means: LongRun, category: Ints, chance: Floats, guidelines: Sequence[Guideline], most: Floats, usual: UsualSpread | None
) -> DaysAhead:
    """Return how probable it is that more days of home readings make each subject's home category sure.

    `category` is each subject's, `chance` its probability now, `most` the days looked ahead, `usual` how days and weeks
    differ. The mean now has error² e², of which more days can take off a part, and its distances from the category's two
    bounds are those at which Student's t has the chances of reaching them. After k more days e² falls to e'², and the mean
    moves by m times such a t (the predictive distribution; Gelman et al., Bayesian Data Analysis; from memory), m² being
    the variance of the difference of both means, e² + e'² less twice their covariance. It is less than e² − e'² where the
    days of two weeks count alike though one is hardly begun: such a mean is not the best one of its days. The category is
    sure then if the moved mean lies SURE's quantile of t times e' inside both bounds; that more days add degrees of
    freedom is left out, which makes the chance a little less.
    """
    nothing = np.full(len(guidelines), np.nan)
    sure = np.where(chance >= SURE, 0.0, np.nan)
    ahead = np.where(chance >= SURE, 1.0, np.nan)
    chances = np.stack([ahead] * len(AHEAD))
    asked = np.flatnonzero((category != NO_CATEGORY) & (chance < SURE))
    if not len(asked):
        return DaysAhead(sure, ahead, chances)
    groups = asked * len(SETTINGS) + HOME
    home = means.at(groups)
    levels = [guidelines[subject].categories[SETTINGS[HOME]] for subject in asked.tolist()]
    bounds = bounds_of(levels, category[asked])
    degrees = home.degrees.mean(axis=0)
    above = stdtrit(degrees, chance_at_or_above(home, bounds))
    days = np.arange(1, 1 + max(int(most[asked].max()), *AHEAD))
    later = being_sure(above, *_left_and_moved(home, days, usual), degrees)  # a row a day, from 1
    chances[:, asked] = later[np.array(AHEAD) - 1]
    enough = (later >= EXPECTED) & (days[:, None] <= most[asked])
    first, reached = enough.argmax(axis=0), enough.any(axis=0)
    sure[asked] = np.where(reached, days[first], np.nan)
    ahead = np.where(np.isnan(sure), nothing, ahead)
    ahead[asked] = np.where(reached, later[first, np.arange(len(asked))], np.nan)
    return DaysAhead(sure, ahead, chances)


def _left_and_moved(means: LongRun, days: Ints, usual: UsualSpread | None) -> tuple[Floats, Floats]:
    """Return what share of each mean's error² so many more days leave, and the share by whose root they move the mean.

    A row each, by the mean of both pressures. Only the part of days and weeks becomes less: errors that all readings share
    stay as they are, and move nothing.
    """
    more = days[:, None].astype(np.float64)
    now, then = means.calendar, means.calendar.later(more)
    correlation, week_sd = (usual.day_correlation, usual.week_sd) if usual else (0.0, (0.0, 0.0))
    shared_days, shared_weeks = now.shared_with(more, correlation)
    # Axes: pressure, days, mean.
    of_day, of_week = means.day_variance[:, None], np.array([sd**2 for sd in week_sd])[:, None, None]
    before, after = (of_day * at.inflation(correlation) / at.days + of_week / at.weeks for at in (now, then))
    both, whole = of_day * shared_days + of_week * shared_weeks, means.error[:, None] ** 2
    left, moved = 1 - (before - after) / whole, (before + after - 2 * both) / whole
    return within(left.mean(axis=0), 0, 1), np.maximum(moved.mean(axis=0), 0)


def being_sure(above: Floats, left: Floats, moved: Floats, degrees: Floats) -> Floats:
    """Return the chance of being sure where a share `left` of the error² is left and a share `moved` moves the mean.

    `above` are the quantiles of Student's t with these `degrees` of freedom that belong to the chances of reaching a
    category's lower and upper bound now, a row each. Sure is that neither lies nearer than SURE's quantile; of a category
    so narrow that both count, that is a little too often.
    """
    inside, beyond = above  # e now being 1, the bounds lie at −inside and −beyond from the mean
    margin, by = stdtrit(degrees, SURE) * np.sqrt(left), np.sqrt(moved)
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = (margin - inside) / by, (-beyond - margin) / by
    chance: Floats = np.where(by > 0, np.maximum(stdtr(degrees, high) - stdtr(degrees, low), 0), 0.0)
    return chance
