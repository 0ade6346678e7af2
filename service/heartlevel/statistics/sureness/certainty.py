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


def certainty(measured: LongRun, errors: Excess, groups: Ints, category: Ints, guidelines: Sequence[Guideline]) -> Floats:
    """Return how certain the category of each group's average is; NaN without one, or where that is not known.

    `guidelines` are the subjects', `category` the groups'. It is P(the long-run mean reaches the category) − P(it reaches
    the next), in the first only the errors that read high taken off, in the second only those that read low: an error
    never makes a category more certain by pointing away from its nearer limit. Each further error shifts one of both
    means towards a limit, or widens them; so while a category is more probable than not, none raises its certainty. It
    is at most the probability of the category with all errors taken off.
    """
    chance = np.full(len(groups), np.nan)
    given = np.flatnonzero((category != NO_CATEGORY) & ~np.isnan(measured.degrees[:, groups]).any(axis=0))
    if not len(given):
        return chance
    own = groups[given]
    bounds = bounds_of(guidelines, own, category[given])
    at_least, at_most = (
        chance_at_or_above(measured.less(replace(errors, **{left_out: np.zeros_like(errors.high)})).at(own), bounds[:, row])
        for row, left_out in ((slice(0, 1), "low"), (slice(1, 2), "high"))
    )
    chance[given] = np.maximum(at_least[0] - at_most[0], 0)
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
