"""How certain the category of an average is, errors that its readings share included."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.profiles import Guideline
from heartlevel.statistics.classification import NO_CATEGORY, least_of
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.statistics.technique import Excess
from heartlevel.vocabulary import SETTINGS


def certainty(
    measured: LongRun, too_high: Excess, too_low: Excess, groups: Ints, category: Ints, guidelines: Sequence[Guideline]
) -> Floats:
    """Return how certain the category of each group's average is; NaN without one, or where that is not known.

    `guidelines` are the subjects', `category` the groups'. It is P(the long-run mean reaches the category) − P(it reaches
    the next), the first with the errors that may read high taken off, none of which is credited with what reads low, the
    second likewise with those that may read low: an error takes away only what leans on it, and never makes a category
    more certain by pointing away from its limit. Each further error shifts one of both means towards a limit and widens
    them; so while a category is more probable than not, none raises its certainty.
    """
    chance = np.full(len(groups), np.nan)
    given = np.flatnonzero((category != NO_CATEGORY) & ~np.isnan(measured.degrees[:, groups]).any(axis=0))
    if not len(given):
        return chance
    own, nothing = groups[given], np.zeros_like(too_high.high)
    bounds = bounds_of(guidelines, own, category[given])
    sides = replace(too_high, low=nothing), replace(too_low, high=nothing)
    at_least, beyond = (
        chance_at_or_above(measured.less(side).at(own), bounds[:, row : row + 1])[0] for row, side in enumerate(sides)
    )
    chance[given] = np.maximum(at_least - beyond, 0)
    return chance


def bounds_of(guidelines: Sequence[Guideline], groups: Ints, category: Ints) -> Floats:
    """Return where each group's category, and the one above it, is reached. Axes: pressure, both bounds, group."""
    by_levels: dict[tuple[str, int], Floats] = {}
    bounds = np.empty((2, 2, len(groups)))
    for column, (group, number) in enumerate(zip(groups.tolist(), category.tolist(), strict=True)):
        guideline, setting = guidelines[group // len(SETTINGS)], group % len(SETTINGS)
        least = by_levels.get((guideline.id, setting))
        if least is None:
            reached, never = least_of(guideline.categories[SETTINGS[setting]]), np.full((2, 1), np.inf)
            least = by_levels[guideline.id, setting] = np.concatenate([reached, never], axis=1)
        bounds[:, :, column] = least[:, number : number + 2]
    return bounds
