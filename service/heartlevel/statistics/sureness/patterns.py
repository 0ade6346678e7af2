"""How probable each pattern of home and office is, at each pair of limits that a guideline gives for both."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy.special import ndtri

from heartlevel.columns import Floats
from heartlevel.profiles import Category, Guideline
from heartlevel.statistics.classification import least_of, limit_name
from heartlevel.statistics.long_run import LongRun, Population, chance_at_or_above, towards_population
from heartlevel.statistics.uncertainty import FAR, both_below
from heartlevel.vocabulary import PATTERNS, SETTINGS

BOTH = ("home", "office")
AboveHome: TypeAlias = tuple[tuple[float, float], tuple[float, float]]  # mean and SD, each systolic and diastolic, mm[Hg]


@dataclass(frozen=True, slots=True)
class Chances:
    """The probability of each pattern at one pair of limits."""

    limits: dict[str, str]  # at home and in the office, such as 130/80
    probability: dict[str, float]


def pattern_chances(means: LongRun, guidelines: Sequence[Guideline], above_home: AboveHome | None) -> list[list[Chances]]:
    """Return, for each subject, the probabilities of the patterns at each pair of limits; none where an error is unknown.

    `above_home` says how office pressures lie above those at home among people. With it each place tells of the other.
    """
    chances: list[list[Chances]] = [[] for _ in guidelines]
    known = ~np.isnan(means.degrees).any(axis=0).reshape(-1, len(SETTINGS))
    subjects_of: dict[str, list[int]] = {}
    for subject in np.flatnonzero(np.logical_and(*(known[:, SETTINGS.index(name)] for name in BOTH))).tolist():
        subjects_of.setdefault(guidelines[subject].id, []).append(subject)
    for subjects in subjects_of.values():
        pairs = limits_of_both(guidelines[subjects[0]])
        sides = [means.at(np.array(subjects) * len(SETTINGS) + SETTINGS.index(name)) for name in BOTH]
        joined, correlation = joint(sides[0], sides[1], above_home)
        home, office = (
            chance_at_or_above(mean, np.array([pair[side] for pair in pairs]).T[:, :, None])
            for side, mean in enumerate(joined)
        )
        named = [dict(zip(BOTH, map(_written, pair), strict=True)) for pair in pairs]
        probable = pattern_probabilities(home, office, correlation).transpose(2, 1, 0).tolist()
        for subject, by_pair in zip(subjects, probable, strict=True):
            chances[subject] = [
                Chances(limits, dict(zip(PATTERNS, shares, strict=True)))
                for limits, shares in zip(named, by_pair, strict=True)
            ]
    return chances


def joint(home: LongRun, office: LongRun, above_home: AboveHome | None) -> tuple[tuple[LongRun, LongRun], Floats]:
    """Return both long-run means given what was measured in both places, and how they then go together.

    The office pressure of a person is normal about the one at home plus d, with standard deviation s. So the office is
    one of a population N(home + d, e² + s²), e the error at home, and home one of N(office − d, f² + s²), f the error in
    the office: the two margins of their joint distribution. Its precision matrix is
    [1/e² + 1/s², −1/s²; −1/s², 1/f² + 1/s²], the correlation hence 1/s² over the root of the product of the diagonal
    (for each pressure; the mean of both is returned).
    """
    if above_home is None:
        return (home, office), np.zeros(home.mean.shape[1:])
    (difference, spread), known = (np.array(figures)[:, None] for figures in above_home), towards_population(home)
    settled = replace(home, mean=known[0], error=known[1], correlation=known[2], population=None)
    joined = (
        replace(settled, population=_people(office, -difference, spread)),
        replace(office, population=_people(settled, difference, spread)),
    )
    others, own, there = 1 / spread**2, 1 / settled.error**2, 1 / office.error**2
    return joined, (others / np.sqrt((own + others) * (there + others))).mean(axis=0)


def _people(elsewhere: LongRun, difference: Floats, spread: Floats) -> Population:
    """Return what the mean elsewhere makes of a person's pressures here: both pressures' differences as correlated."""
    variance = elsewhere.error**2 + spread**2
    joint_error = elsewhere.correlation * elsewhere.error[0] * elsewhere.error[1]
    joint_spread = elsewhere.correlation * spread[0] * spread[1]
    correlation = (joint_error + joint_spread) / np.sqrt(variance[0] * variance[1])
    return Population(elsewhere.mean + difference, np.sqrt(variance), correlation)


def pattern_probabilities(home: Floats, office: Floats, correlation: Floats | float = 0.0) -> Floats:
    """Return the probability of each of PATTERNS (a row each) from those of being raised at home and in the office.

    Being raised in both places is taken as of two normal scores with that correlation.
    """
    at_home, in_office = (np.clip(ndtri(chance), -FAR, FAR) for chance in (home, office))
    sustained = both_below(at_home, in_office, np.broadcast_to(correlation, home.shape))
    probability = {
        "sustained": sustained,
        "office-only-elevation": np.maximum(office - sustained, 0),
        "home-only-elevation": np.maximum(home - sustained, 0),
        "normal-in-both": np.maximum(1 - home - office + sustained, 0),
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
