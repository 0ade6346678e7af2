"""The category a pair of mean pressures reaches under a guideline, and how probable it is to reach each limit."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from heartlevel.columns import TOLERANCE, Floats, Ints
from heartlevel.profiles import Category, Guideline
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.uncertainty import FEWEST_DAYS, probability_at_or_above
from heartlevel.vocabulary import SETTINGS

NO_CATEGORY = -1
CLASSIFIED = ("home", "office")


@dataclass(frozen=True, slots=True)
class Classified:
    """`category` has a row a selection and a column a group; `probability` a mapping of limits a group."""

    category: Ints
    probability: Sequence[dict[str, float]]


def classify(averages: Averages, guidelines: Sequence[Guideline]) -> Classified:
    """Classify every average of home and office under each subject's own guideline."""
    groups = averages.readings.shape[1]
    category = np.full(averages.readings.shape, NO_CATEGORY, dtype=np.int64)
    probability: list[dict[str, float]] = [{} for _ in range(groups)]
    by_name = {guideline.id: guideline for guideline in guidelines}
    for name, guideline in by_name.items():
        subjects = np.array([place for place, one in enumerate(guidelines) if one.id == name])
        for setting in CLASSIFIED:
            columns = subjects * len(SETTINGS) + SETTINGS.index(setting)
            levels = guideline.categories[setting]
            systolic, diastolic = averages.mean[0][:, columns], averages.mean[1][:, columns]
            category[:, columns] = category_reached(systolic, diastolic, levels)
            for place, chances in zip(columns, _probabilities(averages, columns, levels), strict=True):
                probability[place] = chances
    return Classified(category, probability)


def category_reached(systolic: Floats, diastolic: Floats, categories: Sequence[Category]) -> Ints:
    """Return the place of the highest category that either pressure reaches; −1 where a mean is unknown."""
    from_systolic = np.array([one.systolic for one in categories]) - TOLERANCE
    from_diastolic = np.array([one.diastolic for one in categories]) - TOLERANCE
    reached = (systolic[..., None] >= from_systolic) | (diastolic[..., None] >= from_diastolic)
    highest = len(categories) - 1 - np.argmax(reached[..., ::-1], axis=-1)
    return np.where(np.isnan(systolic) | np.isnan(diastolic), NO_CATEGORY, highest)


def _probabilities(averages: Averages, columns: Ints, levels: Sequence[Category]) -> list[dict[str, float]]:
    """Return, for each group with enough days, the probability of being at or above each category's lower limits."""
    row = averages.row("protocol")
    found: list[dict[str, float]] = [{} for _ in columns]
    enough = np.flatnonzero(averages.days[row, columns] >= FEWEST_DAYS)
    limited = [one for one in levels if isfinite(one.systolic) or isfinite(one.diastolic)]
    if not (len(enough) and limited):
        return found
    groups = columns[enough]
    # Axes: pressure, level, group.
    limits = np.array([[one.systolic for one in limited], [one.diastolic for one in limited]])[:, :, None]
    mean, error = (of[:2, row][:, None, groups] for of in (averages.day_mean, averages.standard_error))
    correlation, days = averages.correlation[row, groups], averages.days[row, groups]
    chances = probability_at_or_above(mean, error, correlation, days, limits)
    names = [limit_name(level) for level in limited]
    for place, of_group in zip(enough.tolist(), chances.T.tolist(), strict=True):
        found[place] = dict(zip(names, of_group, strict=True))
    return found


def limit_name(level: Category) -> str:
    """Write a category's lower limits, systolic before diastolic; `–` where it has none."""
    return "/".join(f"{one:g}" if one < np.inf else "–" for one in (level.systolic, level.diastolic))
