"""How sure an average is: intervals and probabilities, with the day as the unit."""

import numpy as np
from scipy.special import ndtr, ndtri, owens_t, stdtr, stdtrit

from heartlevel.columns import Floats, within

# Fewer days give a t interval too wide to mean anything.
FEWEST_DAYS = 3
FAR = 8.2  # standard deviations beyond which a normal tail is nothing in double precision


def interval95(centre: Floats, standard_error: Floats, days: Floats) -> tuple[Floats, Floats]:
    """Return the 95 % interval of a mean of day means, Student's t with days − 1; NaN for too few days."""
    enough = days >= FEWEST_DAYS
    half = stdtrit(np.where(enough, days - 1, np.nan), 0.975) * standard_error
    return centre - half, centre + half


def quantile_of_days(days: Floats, share: float) -> Floats:
    """Return the quantile of Student's t with days − 1 for a mean of so many days; NaN for too few.

    Each number of days is looked up: Student's t costs more than all the rest.
    """
    counts = np.arange(1 + int(days.max(initial=0)), dtype=np.float64)
    quantiles = stdtrit(np.where(counts >= FEWEST_DAYS, counts - 1, np.nan), share).astype(np.float64, copy=False)
    return quantiles[days.astype(np.int64)]


def probability_at_or_above(
    mean: Floats, standard_error: Floats, correlation: Floats, days: Floats, limit: Floats
) -> Floats:
    """Return the probability that either pressure's mean is at or above its limit, by Student's t with days − 1.

    The first axis of `mean`, `standard_error` and `limit` is systolic, diastolic. NaN for too few days.
    """
    degrees = np.where(days >= FEWEST_DAYS, days - 1, np.nan)
    return probability_beyond(mean, standard_error, correlation, np.stack([degrees, degrees]), limit)


def probability_beyond(mean: Floats, standard_error: Floats, correlation: Floats, degrees: Floats, limit: Floats) -> Floats:
    """Return the probability that either pressure's mean is at or above its limit.

    The first axis of `mean`, `standard_error`, `degrees` and `limit` is systolic, diastolic. Each margin is Student's t
    with its `degrees` of freedom; the two are joined as normal scores with the correlation of the errors. NaN where the
    degrees are not known.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        away = (limit - mean) / standard_error
    # No spread between days: the mean is on one side of the limit or the other; on it counts as reached.
    away = np.where(standard_error > 0, away, np.where(limit > mean, np.inf, -np.inf))
    below = within(ndtri(stdtr(degrees, away)), -FAR, FAR)
    return 1 - both_below(below, correlation)


def both_below(scores: Floats, correlation: Floats) -> Floats:
    """Return P(X < first, Y < second) of a standard bivariate normal, by Owen's T function (Owen 1956).

    The first axis of `scores` is first, second.
    """
    rho = within(correlation, -0.999999, 0.999999)
    own = np.where(scores == 0, 1e-100, scores)
    other = own[::-1]
    tails, below = owens_t(own, (other / own - rho) / np.sqrt(1 - rho * rho)), ndtr(own)
    joint = (below[0] + below[1]) / 2 - (tails[0] + tails[1]) - np.where(own[0] * own[1] > 0, 0.0, 0.5)
    return within(joint, 0, 1)
