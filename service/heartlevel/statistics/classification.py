"""The category a pair of mean pressures reaches under a guideline, and how probable it is to reach each limit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite

import numpy as np

from heartlevel.columns import TOLERANCE, Floats, Ints
from heartlevel.profiles import Category, Guideline
from heartlevel.statistics.alternatives import Alternatives
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.vocabulary import SETTINGS

NO_CATEGORY = -1
CLASSIFIED = ("home", "office", "office-unattended")  # the last where a guideline publishes its limit


@dataclass(frozen=True, slots=True)
class Classified:
    """The category of each average: a row a selection, or an alternative, and a column a group."""

    category: Ints
    of_alternatives: Ints


@dataclass(frozen=True, slots=True)
class Probabilities:
    """Probabilities of each group's long-run mean; an empty mapping where nothing can be told."""

    of_limit: Sequence[dict[str, float]]  # by limit: of being at or above it
    of_category: Sequence[dict[str, float]]  # by category: of lying in it


def classify(averages: Averages, others: Alternatives, guidelines: Sequence[Guideline]) -> Classified:
    """Classify every average of home and office under each subject's own guideline."""
    means, selections = np.concatenate([averages.mean[:2], others.mean], axis=1), len(averages.selections)
    category = np.full(means.shape[1:], NO_CATEGORY, dtype=np.int64)
    for columns, levels in _alike(guidelines, CLASSIFIED):
        category[:, columns] = category_reached(means[0][:, columns], means[1][:, columns], levels)
    return Classified(category[:selections], np.where(others.enough, category[selections:], NO_CATEGORY))


def probabilities(means: LongRun, guidelines: Sequence[Guideline], ambulatory: Sequence[str | None] = ()) -> Probabilities:
    """Return how probable it is that each group's long-run mean reaches each limit, and lies in each category.

    `ambulatory` is what each subject's ambulatory mean is of: the whole day, the day or the night; None for none.
    """
    nothing = dict[str, float]()  # most groups have no readings; nobody writes into what they share
    of_limit, of_category = [nothing] * len(means.correlation), [nothing] * len(means.correlation)
    for columns, levels in (*_alike(guidelines, CLASSIFIED), *_around_the_clock(guidelines, ambulatory)):
        for group, chances, shares in _probabilities(means, columns, levels):
            of_limit[group], of_category[group] = chances, shares
    return Probabilities(of_limit, of_category)


def _around_the_clock(
    guidelines: Sequence[Guideline], ambulatory: Sequence[str | None]
) -> Iterator[tuple[Ints, tuple[Category, ...]]]:
    """Yield the ambulatory groups that share a guideline and a part of the day, with the categories they share."""
    setting, subjects_of = SETTINGS.index("ambulatory"), dict[tuple[str, str], list[int]]()
    for subject, name in enumerate(ambulatory):
        if name and name in guidelines[subject].categories:
            subjects_of.setdefault((guidelines[subject].id, name), []).append(subject)
    for (_, name), subjects in subjects_of.items():
        yield np.array(subjects) * len(SETTINGS) + setting, guidelines[subjects[0]].categories[name]


def _alike(guidelines: Sequence[Guideline], settings: Sequence[str]) -> Iterator[tuple[Ints, tuple[Category, ...]]]:
    """Yield the groups that share a guideline and a setting, with the categories they share."""
    for shared in {guideline.id: guideline for guideline in guidelines}.values():
        subjects = np.array([subject for subject, guideline in enumerate(guidelines) if guideline.id == shared.id])
        for setting in filter(shared.categories.__contains__, settings):
            yield subjects * len(SETTINGS) + SETTINGS.index(setting), shared.categories[setting]


def category_reached(systolic: Floats, diastolic: Floats, categories: Sequence[Category]) -> Ints:
    """Return the index of the highest category that either pressure reaches; −1 where a mean is unknown."""
    from_systolic = np.array([category.systolic for category in categories]) - TOLERANCE
    from_diastolic = np.array([category.diastolic for category in categories]) - TOLERANCE
    reached = (systolic[..., None] >= from_systolic) | (diastolic[..., None] >= from_diastolic)
    highest = len(categories) - 1 - np.argmax(reached[..., ::-1], axis=-1)
    return np.where(np.isnan(systolic) | np.isnan(diastolic), NO_CATEGORY, highest)


def least_of(levels: Sequence[Category]) -> Floats:
    """Return the least systolic and diastolic pressure (rows) that reaches each category or a higher one."""
    limits = np.array([[level.systolic for level in levels], [level.diastolic for level in levels]])
    return np.minimum.accumulate(limits[:, ::-1], axis=1)[:, ::-1]


@dataclass(frozen=True, slots=True)
class _Limits:
    """Where the categories of a setting begin, each pair of pressures once."""

    names: tuple[str, ...]  # of the limits that are written
    written: Ints  # the pair of each of these
    least: Ints  # the least pair that reaches each category or a higher one, but for the lowest
    pairs: Floats  # a row a pressure


@lru_cache(maxsize=256)  # of each guideline and setting
def _limits_of(levels: tuple[Category, ...]) -> _Limits:
    limited = [level for level in levels if isfinite(level.systolic) or isfinite(level.diastolic)]
    written = [(level.systolic, level.diastolic) for level in limited]
    every = [*written, *map(tuple, least_of(levels)[:, 1:].T.tolist())]
    distinct = list(dict.fromkeys(every))
    column = np.array([distinct.index(pair) for pair in every], dtype=np.int64)
    pairs = np.array(distinct, dtype=np.float64).reshape(-1, 2).T
    return _Limits(tuple(map(limit_name, limited)), column[: len(limited)], column[len(limited) :], pairs)


def _probabilities(
    means: LongRun, columns: Ints, levels: tuple[Category, ...]
) -> Iterator[tuple[int, dict[str, float], dict[str, float]]]:
    """Yield each group whose error is known, the probabilities of its limits and those of its categories."""
    groups, limits = columns[~np.isnan(means.degrees[:, columns]).any(axis=0)], _limits_of(levels)
    if not (len(groups) and limits.names):
        return
    chances = chance_at_or_above(means.at(groups), limits.pairs[:, :, None])
    above = np.concatenate([np.ones((1, len(groups))), chances[limits.least], np.zeros((1, len(groups)))])
    shares = np.maximum(above[:-1] - above[1:], 0)  # of the highest category reached
    ids = [level.id for level in levels]
    rows = zip(groups.tolist(), chances[limits.written].T.tolist(), shares.T.tolist(), strict=True)
    for group, of_limits, of_levels in rows:
        yield group, dict(zip(limits.names, of_limits, strict=True)), dict(zip(ids, of_levels, strict=True))


def limit_name(level: Category) -> str:
    """Write a category's lower limits, systolic before diastolic; `-` where it has none."""
    return "/".join(f"{limit:g}" if limit < np.inf else "-" for limit in (level.systolic, level.diastolic))
