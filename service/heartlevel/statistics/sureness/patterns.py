"""How probable each pattern of home and office is, at each pair of limits that a guideline gives for both."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy.special import ndtri

from heartlevel.columns import Floats, within
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

    limits: dict[str, str]  # by side: home or ambulatory, and office; such as 130/80
    probability: dict[str, float]


@dataclass(frozen=True, slots=True)
class SidePair:
    """The two sides of a subject that are held against each other."""

    outside: str  # what its limits are called: home, or a part of an ambulatory measurement
    office: str

    @property
    def settings(self) -> tuple[int, int]:
        """The numbers of the settings of both."""
        first = "ambulatory" if self.outside.startswith("ambulatory") else self.outside
        return SETTINGS.index(first), SETTINGS.index(self.office)


def pattern_chances(
    means: LongRun, guidelines: Sequence[Guideline], pairs: Sequence[SidePair], above_home: AboveHome | None
) -> list[list[Chances]]:
    """Return, for each subject, the probabilities of the patterns at each pair of limits; none where an error is unknown.

    `pairs` are the subjects' sides. `above_home` says how pressures in the office, taken by staff, lie above those outside
    it among people. With it each place tells of the other.
    """
    chances: list[list[Chances]] = [[] for _ in guidelines]
    alike = dict[tuple[str, SidePair], list[int]]()
    known = np.logical_not(np.isnan(means.degrees).any(axis=0)).tolist()
    for subject, pair in enumerate(pairs):
        if all(known[subject * len(SETTINGS) + setting] for setting in pair.settings):
            alike.setdefault((guidelines[subject].id, pair), []).append(subject)
    for (_, pair), subjects in alike.items():
        between = above_home if pair.office == BOTH[1] else None
        for subject, own in zip(
            subjects, _chances_of(means, guidelines[subjects[0]], pair, subjects, between), strict=True
        ):
            chances[subject] = own
    return chances


def _chances_of(
    means: LongRun, guideline: Guideline, pair: SidePair, subjects: Sequence[int], above_home: AboveHome | None
) -> Iterator[list[Chances]]:
    """Yield the chances of each of the subjects, who share a guideline and a pair of sides."""
    limits = limits_of_pair(guideline, pair)
    outside, office = (means.at(np.array(subjects) * len(SETTINGS) + setting) for setting in pair.settings)
    joined, correlation = joint(outside, office, above_home)
    reached = [
        chance_at_or_above(mean, np.array([both[side] for both in limits]).T[:, :, None])
        for side, mean in enumerate(joined)
    ]
    named = [dict(zip(_names(pair), map(_written, both), strict=True)) for both in limits]
    for by_limits in pattern_probabilities(reached[0], reached[1], correlation).transpose(2, 1, 0).tolist():
        yield [Chances(own, dict(zip(PATTERNS, shares, strict=True))) for own, shares in zip(named, by_limits, strict=True)]


def _names(pair: SidePair) -> tuple[str, str]:
    return "ambulatory" if pair.outside.startswith("ambulatory") else "home", "office"


def joint(home: LongRun, office: LongRun, above_home: AboveHome | None) -> tuple[tuple[LongRun, LongRun], Floats]:
    """Return both long-run means given what was measured in both places, and how their errors then go together.

    The office pressure of a person is normal about the one at home plus d, with standard deviation s. With a mean h at home
    of error e and x in the office of error f, the office's is one of a population N(h + d, s² + e²), and home's one of
    N(x − d, s² + f²); the correlation of both is e f / √((s² + e²) (s² + f²)) (Bayes' theorem for normal distributions).
    """
    if above_home is None:
        return (home, office), np.zeros(home.mean.shape[1:])
    difference, spread = (np.array(figures)[:, None] for figures in above_home)
    mean, error, correlation = towards_population(home)
    known = replace(home, mean=mean, error=error, correlation=correlation, population=None)
    both = _given(known, office, -difference, spread), _given(office, known, difference, spread)
    together = error * office.error / np.sqrt((spread**2 + error**2) * (spread**2 + office.error**2))
    return both, together.mean(axis=0)


def _given(own: LongRun, other: LongRun, difference: Floats, spread: Floats) -> LongRun:
    """Return a place's means given the other place's, `difference` (mm[Hg]) from which people's lie with `spread`.

    With q the variance of what the other place tells and w = e² / (e² + q), the variance of the whole is (1 − w) e². Its
    derivative by e² is (1 − w)², that by the other's error² f² is w²; so Satterthwaite's rule (1946; from memory) gives it
    1 / ((1 − w)² / ν + (w f² / q)² / ν') degrees of freedom, ν and ν' being those of the places.
    """
    others = spread**2 + other.error**2
    people = _people(other.mean + difference, np.sqrt(others), other.correlation)
    mean, error, correlation = towards_population(replace(own, population=people))
    weight = own.error**2 / (own.error**2 + others)
    degrees = 1 / ((1 - weight) ** 2 / own.degrees + (weight * other.error**2 / others) ** 2 / other.degrees)
    return LongRun(mean, error, correlation, degrees, own.day_variance, own.calendar)


def _people(mean: Floats, spread: Floats, correlation: Floats) -> Population:
    """Return what is usual of a person with such a mean elsewhere."""
    return Population(mean, np.broadcast_to(spread, mean.shape), correlation)


def pattern_probabilities(home: Floats, office: Floats, correlation: Floats | float = 0.0) -> Floats:
    """Return the probability of each of PATTERNS (a row each) from those of being raised at home and in the office.

    Being raised in both places is taken as of two normal scores with that correlation.
    """
    scores = within(ndtri(np.stack([home, office])), -FAR, FAR)
    sustained = both_below(scores, np.broadcast_to(correlation, home.shape))
    probability = {
        "sustained": sustained,
        "office-only-elevation": np.maximum(office - sustained, 0),
        "home-only-elevation": np.maximum(home - sustained, 0),
        "normal-in-both": np.maximum(1 - home - office + sustained, 0),
    }
    return np.stack([probability[name] for name in PATTERNS])


def limits_of_pair(guideline: Guideline, pair: SidePair) -> list[tuple[tuple[float, float], ...]]:
    """Return the pairs of limits: of hypertension, then of each category that both sides have; as far as published."""
    limit, names = guideline.limits, (pair.outside, pair.office)
    raised = tuple((limit[f"{name}.hypertension.systolic"], limit[f"{name}.hypertension.diastolic"]) for name in names)
    if names != BOTH:
        return [raised]
    reached = [_reached(guideline.categories[name]) for name in names]
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
