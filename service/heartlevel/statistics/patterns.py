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
    """The probability of each pattern at one pair of limits."""

    limits: dict[str, str]  # at home and in the office, such as 130/80
    probability: dict[str, float]


def pattern_chances(means: LongRun, guidelines: Sequence[Guideline]) -> list[list[Chances]]:
    """Return, for each subject, the probabilities of the patterns at each pair of limits; none for too few days.

    The means at home and in the office are taken as independent: they come from different days and settings.
    """
    chances: list[list[Chances]] = [[] for _ in guidelines]
    days = means.days.reshape(-1, len(SETTINGS))
    enough = np.logical_and(*(days[:, SETTINGS.index(name)] >= FEWEST_DAYS for name in BOTH))
    subjects_of: dict[str, list[int]] = {}
    for subject in np.flatnonzero(enough).tolist():
        subjects_of.setdefault(guidelines[subject].id, []).append(subject)
    for subjects in subjects_of.values():
        pairs = limits_of_both(guidelines[subjects[0]])
        home, office = (
            chance_at_or_above(means.at(np.array(subjects) * len(SETTINGS) + SETTINGS.index(setting)),
                               np.array([pair[side] for pair in pairs]).T[:, :, None])
            for side, setting in enumerate(BOTH)
        )  # fmt: skip
        named = [dict(zip(BOTH, map(_written, pair), strict=True)) for pair in pairs]
        for subject, at_home, in_office in zip(subjects, home.T, office.T, strict=True):
            chances[subject] = [
                Chances(limits, dict(zip(PATTERNS, shares, strict=True)))
                for limits, shares in zip(named, pattern_probabilities(at_home, in_office).T.tolist(), strict=True)
            ]
    return chances


def pattern_probabilities(home: Floats, office: Floats) -> Floats:
    """Return the probability of each of PATTERNS (a row each) from those of being raised at home and in the office."""
    probability = {
        "sustained": home * office,
        "office-only-elevation": (1 - home) * office,
        "home-only-elevation": home * (1 - office),
        "normal-in-both": (1 - home) * (1 - office),
    }
    return np.stack([probability[name] for name in PATTERNS])


def limits_of_both(guideline: Guideline) -> list[tuple[tuple[float, float], ...]]:
    """Return the pairs of home and office limits: of hypertension, then of each category that both settings have."""
    limit = guideline.limits
    raised = tuple((limit[f"{name}.hypertension.systolic"], limit[f"{name}.hypertension.diastolic"]) for name in BOTH)
    reached = [_reached(guideline.categories[name]) for name in BOTH]
    shared = [tuple(limits[name] for limits in reached) for name in reached[0] if name in reached[1]]
    return list(dict.fromkeys([raised, *shared]))


def _reached(levels: Sequence[Category]) -> dict[str, tuple[float, float]]:
    return {
        level.id: (systolic, diastolic)
        for level, (systolic, diastolic) in zip(levels, least_of(levels).T.tolist(), strict=True)
        if systolic > 0
    }


def _written(limits: tuple[float, float]) -> str:
    return limit_name(Category("", "", *limits))
