"""How certain the category of an average is, errors that its readings share included."""

from collections.abc import Sequence

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.profiles import Category
from heartlevel.statistics.classification import NO_CATEGORY, least_of
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.statistics.technique import Excess


def certainty(
    measured: LongRun, too_high: Excess, too_low: Excess, groups: Ints, category: Ints, levels: Sequence[Sequence[Category]]
) -> Floats:
    """Return how certain the category of each group's average is; NaN without one, or where that is not known.

    `levels` are the categories that each group may have, `category` its own one's number. It is P(the long-run mean
    reaches the category) − P(it reaches the next), the first with the errors that may read high taken off, none of which
    is credited with what reads low, the second likewise with those that may read low: an error takes away only what leans
    on it, and never makes a category more certain by pointing away from its limit. Each further error shifts one of both
    means towards a limit and widens them; so while a category is more probable than not, none raises its certainty.
    """
    chance = np.full(len(groups), np.nan)
    given = np.flatnonzero((category != NO_CATEGORY) & ~np.isnan(measured.degrees[:, groups]).any(axis=0))
    if not len(given):
        return chance
    bounds = bounds_of([levels[row] for row in given.tolist()], category[given])
    # Of both bounds in one go: each group's mean less what may read high, then each one's less what may read low.
    twice = np.tile(groups[given], 2)
    high, low = too_high.at(groups[given]), too_low.at(groups[given])
    nothing = np.zeros_like(high.high)
    one_sided = Excess(
        np.concatenate([high.high, nothing], axis=1), np.concatenate([nothing, low.low], axis=1),
        np.concatenate([high.variance, low.variance], axis=1), np.concatenate([high.covariance, low.covariance]),
    )  # fmt: skip
    means, limits = measured.at(twice).less(one_sided), bounds.reshape(2, 1, -1)
    at_least, beyond = chance_at_or_above(means, limits).reshape(2, -1)
    chance[given] = np.maximum(at_least - beyond, 0)
    return chance


def bounds_of(levels: Sequence[Sequence[Category]], category: Ints) -> Floats:
    """Return where each category, and the one above it, is reached. Axes: pressure, both bounds, category."""
    distinct = {id(own): own for own in levels}
    which = np.array([id(own) for own in levels])
    bounds = np.empty((2, 2, len(category)))
    for identity, own in distinct.items():
        least = np.concatenate([least_of(own), np.full((2, 1), np.inf)], axis=1)
        columns = np.flatnonzero(which == identity)
        bounds[:, 0, columns], bounds[:, 1, columns] = least[:, category[columns]], least[:, category[columns] + 1]
    return bounds
