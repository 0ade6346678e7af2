"""How many more days of measuring would be expected to make a category probable enough."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.profiles import Guideline
from heartlevel.statistics.classification import NO_CATEGORY, least_of
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.statistics.selection import HOME
from heartlevel.statistics.uncertainty import FEWEST_DAYS
from heartlevel.vocabulary import SETTINGS

SURE = 0.95  # the convention of intervals, here for a category


def more_days(means: LongRun, category: Ints, chance: Floats, guidelines: Sequence[Guideline], most: Floats) -> Floats:
    """Return the fewest more days of home readings after which each subject's home category is expected to be sure.

    Expected: if mean and spread of the days stay as they are, the standard error falls with the root of their number.
    `category` is each subject's, `chance` its probability now, `most` the days looked ahead. NaN where so many days are
    not enough, where there is no category, or too few days to tell their spread.
    """
    needed = np.where(chance >= SURE, 0.0, np.nan)
    home = means.at(np.arange(len(guidelines)) * len(SETTINGS) + HOME)
    days = home.days
    asked = np.flatnonzero((category != NO_CATEGORY) & (days >= FEWEST_DAYS) & ~(chance >= SURE))
    if not len(asked):
        return needed
    bounds = np.stack([_bounds(guidelines[subject], int(category[subject])) for subject in asked.tolist()], axis=-1)
    unsure, now = home.at(asked[None]), days[asked]
    later = now + np.arange(int(most[asked].max()) + 1)[:, None]  # axes: days ahead, subject
    shrunk = unsure.error * np.sqrt(now / later)
    # Axes of what is asked for: pressure, lower and upper bound, days ahead, subject.
    above = chance_at_or_above(replace(unsure, error=shrunk, days=later), bounds[:, :, None])
    sure = (above[0] - above[1] >= SURE) & (later - now <= most[asked])
    needed[asked] = np.where(sure.any(axis=0), sure.argmax(axis=0), np.nan)
    return needed


def _bounds(guideline: Guideline, category: int) -> Floats:
    """Return the limits at or above which the category, and the one above it, are reached; a row a pressure."""
    least = least_of(guideline.categories[SETTINGS[HOME]])
    never = np.full((2, 1), np.inf)
    return np.concatenate([least, never], axis=1)[:, category : category + 2]
