"""How home and office compare: the pattern that the rules decide, how probable each is, and the difference."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Floats, Ints
from heartlevel.conclusions.category import CLASSIFIABLE, NO_CATEGORY_REASONS, SubjectCategories
from heartlevel.conclusions.firings import Firing
from heartlevel.conclusions.sureness import NO_PROBABILITY, PROBABLE, unknown_because, words_of
from heartlevel.facts.sides import LIMITS_OF, NO_SIDE
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.long_run import LongRun
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.statistics.sureness.patterns import Chances, SidePair, pattern_chances
from heartlevel.statistics.uncertainty import FEWEST_DAYS, interval95
from heartlevel.vocabulary import MEASURED_SIDES, PATTERNS, PRESSURES, SETTINGS, UNDETERMINED

LABELS = (*PATTERNS, UNDETERMINED)


@dataclass(frozen=True, slots=True)
class OfficeMinusHome:
    """Office minus home of the averages by protocol (mm[Hg]; a row a pressure, a column a subject).

    `low` and `high` are the 95 % interval of the difference of day means by Welch's method. NaN where there is none.
    """

    mean: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class PatternsProbable:
    """How probable each pattern is, a list a subject, or in its place why that cannot be told."""

    chances: Sequence[Sequence[Chances]]
    unknown: Sequence[str | None]
    sureness: Ints  # of what the rules decide, its number in SURENESSES


def labels_of(firings: Sequence[Firing], subjects: int) -> Ints:
    """Return each subject's pattern as its number in LABELS: that of the one rule that decides.

    It is undetermined where no such rule fires, or several do.
    """
    undetermined = LABELS.index(UNDETERMINED)
    label, rules = np.full(subjects, undetermined), np.zeros(subjects, dtype=np.int64)
    for firing in firings:
        if firing.rule.pattern:
            rules[firing.subjects] += 1
            label[firing.subjects] = LABELS.index(firing.rule.pattern)
    return np.where(rules == 1, label, undetermined)


def settled_labels(decided: Ints, probable: PatternsProbable) -> Ints:
    """Return the patterns that are at least probable; what the averages show and is less than that is undetermined."""
    return np.where(probable.sureness >= PROBABLE, decided, LABELS.index(UNDETERMINED))


def office_minus_home(assessment: Assessment) -> OfficeMinusHome:
    """Return how much higher the office average is than the one at home."""
    facts = assessment.facts["series"]
    mean = np.array([facts[f"office_minus_home_{name}"] for name in PRESSURES])
    both, unknown = np.flatnonzero(~np.isnan(mean[0])), np.full_like(mean, np.nan)
    if not len(both):
        return OfficeMinusHome(mean, unknown, unknown)
    low, high = unknown, unknown.copy()
    low[:, both], high[:, both] = _interval(assessment.averages, both)
    return OfficeMinusHome(mean, low, high)


def _interval(averages: Averages, subjects: Ints) -> tuple[Floats, Floats]:
    row, pressures = averages.row("protocol"), slice(len(PRESSURES))
    office, home = (subjects * len(SETTINGS) + setting for setting in (OFFICE, HOME))
    days, errors, means = (
        np.stack([column[pressures, row, office], column[pressures, row, home]])
        for column in (averages.day_count, averages.standard_error, averages.day_mean)
    )
    known = (days.min(axis=0) >= FEWEST_DAYS) & (errors.sum(axis=0) > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = (errors**2).sum(axis=0)
        freedom = variance**2 / (errors**4 / (days - 1)).sum(axis=0)
    counted_as = np.where(known, np.maximum(freedom + 1, FEWEST_DAYS), np.nan)  # interval95 takes a day off again
    return interval95(means[0] - means[1], np.sqrt(variance), counted_as)


def patterns_probable(assessment: Assessment, categories: SubjectCategories, labels: Ints) -> PatternsProbable:
    """Return how probable each pattern is at each pair of limits, and how sure the label.

    Nothing is told of who is not classified. `labels` are the patterns' numbers in LABELS.
    """
    pairs = _pairs(assessment)
    chances = _chances(assessment, assessment.sureness.long_run, pairs)
    unknown = [
        NO_CATEGORY_REASONS[person] if person != CLASSIFIABLE else None if of_pairs else why
        for person, of_pairs, why in zip(categories.person.tolist(), chances, _why_unknown(assessment, pairs), strict=True)
    ]
    own = [
        of_pairs[0].probability.get(LABELS[label], np.nan) if of_pairs and not why else np.nan
        for of_pairs, why, label in zip(chances, unknown, labels.tolist(), strict=True)
    ]
    limits, decided = assessment.rules.sureness, np.array(own, dtype=np.float64)
    least = np.array([limits.least_of_pattern(label) for label in LABELS])
    return PatternsProbable(chances, unknown, words_of(decided, limits, least[labels]))


def patterns_as_measured(assessment: Assessment) -> list[list[Chances]]:
    """Return how probable each pattern is with no error taken off that readings share."""
    return _chances(assessment, assessment.sureness.measured, _pairs(assessment))


def _chances(assessment: Assessment, means: LongRun, pairs: Sequence[SidePair]) -> list[list[Chances]]:
    office = assessment.rules.in_office
    return pattern_chances(means, assessment.guidelines, pairs, office.above_home if office else None)


def _pairs(assessment: Assessment) -> list[SidePair]:
    """Return the sides of each subject that are held against each other, home and the office where none may speak."""
    sides, usual = assessment.sides, ("home", "office-attended")
    names = [
        [MEASURED_SIDES[side] if side != NO_SIDE else instead for side in chosen.tolist()]
        for chosen, instead in zip((sides.outside, sides.office), usual, strict=True)
    ]
    return [SidePair(LIMITS_OF[outside], LIMITS_OF[office]) for outside, office in zip(*names, strict=True)]


def _why_unknown(assessment: Assessment, pairs: Sequence[SidePair]) -> list[str | None]:
    """Say why no pattern is probable: what is wanting of each side, the weightier reason of both."""
    reasons = unknown_because(assessment).reshape(-1, len(SETTINGS))
    settings = np.array([pair.settings for pair in pairs], dtype=np.int64).reshape(-1, 2)
    weightier = np.take_along_axis(reasons, settings, axis=1).max(axis=1)
    return [NO_PROBABILITY[reason] for reason in weightier.tolist()]
