"""How probable each pattern of home and office is, at each pair of limits that a guideline gives for both."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Floats
from heartlevel.profiles import Category, Guideline
from heartlevel.statistics.classification import least_of, limit_name
from heartlevel.statistics.long_run import LongRun, chance_at_or_above
from heartlevel.statistics.uncertainty import FEWEST_DAYS
from heartlevel.vocabulary import PATTERNS, SETTINGS

BOTH = ("home", "office")


@dataclass(frozen=True, slots=True)
class Chances:
    """The probability of each pattern at the limits of both places, as written."""

    limits: dict[str, str]
    probability: dict[str, float]


def pattern_chances(of: LongRun, guidelines: Sequence[Guideline]) -> list[list[Chances]]:
    """Return, for each subject, the probabilities of the patterns at each pair of limits; none for too few days.

    The means at home and in the office are taken as independent: they come of different days and settings.
    """
    found: list[list[Chances]] = [[] for _ in guidelines]
    days = of.days.reshape(-1, len(SETTINGS))
    enough = np.logical_and(*(days[:, SETTINGS.index(name)] >= FEWEST_DAYS for name in BOTH))
    several = {one.id: one for place, one in enumerate(guidelines) if enough[place]}
    for name, guideline in several.items():
        subjects = np.array([place for place, one in enumerate(guidelines) if one.id == name and enough[place]])
        pairs = limits_of_both(guideline)
        home, office = (
            chance_at_or_above(of.at(subjects * len(SETTINGS) + SETTINGS.index(setting)),
                               np.array([one[place] for one in pairs]).T[:, :, None])
            for place, setting in enumerate(BOTH)
        )  # fmt: skip
        named = [dict(zip(BOTH, map(_written, pair), strict=True)) for pair in pairs]
        for subject, at_home, in_office in zip(subjects.tolist(), home.T, office.T, strict=True):
            found[subject] = [
                Chances(limits, dict(zip(PATTERNS, of_each, strict=True)))
                for limits, of_each in zip(named, pattern_probabilities(at_home, in_office).T.tolist(), strict=True)
            ]
    return found


def pattern_probabilities(home: Floats, office: Floats) -> Floats:
    """Return the probability of each pattern (a row each, as PATTERNS) from those of being raised in either place."""
    of = {
        "sustained": home * office,
        "office-only-elevation": (1 - home) * office,
        "home-only-elevation": home * (1 - office),
        "normal-in-both": (1 - home) * (1 - office),
    }
    return np.stack([of[name] for name in PATTERNS])


def limits_of_both(guideline: Guideline) -> list[tuple[tuple[float, float], ...]]:
    """Return the pairs of home and office limits: of hypertension, then of each category that both settings have."""
    limit = guideline.limits
    raised = tuple((limit[f"{one}.hypertension.systolic"], limit[f"{one}.hypertension.diastolic"]) for one in BOTH)
    reached = [_reached(guideline.categories[one]) for one in BOTH]
    shared = [tuple(of[name] for of in reached) for name in reached[0] if name in reached[1]]
    return list(dict.fromkeys([raised, *shared]))


def _reached(levels: Sequence[Category]) -> dict[str, tuple[float, float]]:
    return {one.id: (of[0], of[1]) for one, of in zip(levels, least_of(levels).T.tolist(), strict=True) if of[0] > 0}


def _written(limits: tuple[float, float]) -> str:
    return limit_name(Category("", "", *limits))
