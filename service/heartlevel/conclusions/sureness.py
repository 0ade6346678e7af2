"""How sure the category of each subject is, in words whose limits are the rule set's, and why where that is not told."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Floats, Ints, first_case
from heartlevel.conclusions.category import NO_SETTING, SubjectCategories
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.profiles import SurenessLimits
from heartlevel.ruling.effects.shared_errors import UNCHECKED, UNRECORDED
from heartlevel.ruling.effects.sureness import deciding_parts
from heartlevel.statistics.classification import Probabilities, probabilities
from heartlevel.statistics.technique import excess_of
from heartlevel.statistics.uncertainty import FEWEST_DAYS
from heartlevel.vocabulary import SURENESSES

FEW_DAYS = f"fewer-than-{FEWEST_DAYS}-days"
# Why there is no probability; None where there is one.
NO_PROBABILITY = (None, "error-of-unknown-size", FEW_DAYS, "no-reading-averaged")
KNOWN, UNSIZED, FEW, NO_READING = range(len(NO_PROBABILITY))
CANNOT_BE_TOLD, PROBABLE, ALMOST_CERTAIN = range(len(SURENESSES))
MOST_QUESTIONS = 2
FIRST_DAY = "first-day"
USUAL = (FIRST_DAY, UNRECORDED, UNCHECKED)  # not known of the person
READS = {1: "high", -1: "low", 0: "either"}  # by the sign of the mean error


@dataclass(frozen=True, slots=True)
class SubjectSureness:
    """One value a subject, of the average that is classified."""

    certainty: Floats  # of the category; NaN where it is not known
    word: Ints  # its number in SURENESSES
    unknown: Ints  # why there is no probability: its number in NO_PROBABILITY
    sharpened_by: Sequence[Sequence[str]]  # what nobody recorded and would sharpen the probability most, the most first


@dataclass(frozen=True, slots=True)
class ErrorInIt:
    """An error that all readings of an average share, as a part of its probability."""

    code: str  # a rule's id, or that of what is usual
    known: bool  # to be there; else it is what is usual where nobody recorded it
    reads: str  # one of DIRECTIONS
    mean: Sequence[float] | None  # mm[Hg] as told, one a pressure; None where no size is published
    sd: Sequence[float] | None


def sureness_of(assessment: Assessment, categories: SubjectCategories) -> SubjectSureness:
    """Return how sure each subject's category is."""
    sureness, group = assessment.sureness, categories.group
    certain = np.where(categories.setting == NO_SETTING, np.nan, sureness.certainty[group])
    word = words_of(certain, assessment.rules.sureness)
    return SubjectSureness(certain, word, unknown_because(assessment)[group], _questions(assessment, group))


def as_measured(assessment: Assessment) -> Probabilities:
    """Return the probabilities of each group's limits and categories with no error taken off that readings share."""
    return probabilities(assessment.sureness.measured, assessment.guidelines, deciding_parts(assessment.sides))


def words_of(probability: Floats, limits: SurenessLimits, probable: Floats | None = None) -> Ints:
    """Return for each probability the number of its word in SURENESSES; what is not known cannot be told.

    `probable` is from where each is probable; without it, as the limits have it.
    """
    least = limits.probable if probable is None else probable
    words: Ints = first_case(
        [(probability >= limits.almost_certain, ALMOST_CERTAIN), (probability >= least, PROBABLE)], CANNOT_BE_TOLD
    )
    return words


def word_of(probability: float, limits: SurenessLimits) -> int:
    """Return the number of the word that one probability has."""
    if probability >= limits.almost_certain:
        return ALMOST_CERTAIN
    return PROBABLE if probability >= limits.probable else CANNOT_BE_TOLD


def word_told(word: int) -> str | None:
    """Return the name of a word; None where it says that nothing can be told."""
    return None if word == CANNOT_BE_TOLD else SURENESSES[word]


def unknown_because(assessment: Assessment) -> Ints:
    """Return for each group why nothing is probable of it: its number in NO_PROBABILITY."""
    sureness = assessment.sureness
    nothing, few, unsized = (
        sureness.measured.calendar.days == 0,
        np.isnan(sureness.measured.degrees).any(axis=0),
        np.isnan(sureness.long_run.degrees).any(axis=0),
    )
    return first_case([(nothing, NO_READING), (few, FEW), (unsized, UNSIZED)], KNOWN)


def errors_of(assessment: Assessment, categories: SubjectCategories) -> list[list[ErrorInIt]]:
    """Return the errors that play a part in the probability of each subject's classified average."""
    sureness, subjects = assessment.sureness, np.flatnonzero(categories.setting != NO_SETTING)
    groups = categories.group[subjects]
    by_subject: list[list[ErrorInIt]] = [[] for _ in assessment.batch.requests]
    nothing = np.zeros_like(sureness.first_day)
    parts = {FIRST_DAY: excess_of(sureness.first_day, nothing), **sureness.errors.parts}
    codes = list(parts)
    # Axes: part, pressure, group.
    mean = np.array([part.mean for part in parts.values()])[:, :, groups]
    sd = np.sqrt(np.array([part.variance for part in parts.values()])[:, :, groups])
    at = np.nonzero(np.any((mean != 0) | (sd > 0), axis=1))
    reads = np.sign(mean[:, 0][at] + mean[:, 1][at]).astype(np.int64).tolist()
    sizes = [all_rounded(size.transpose(0, 2, 1)[at]) for size in (mean, sd)]
    for number, column, way, middle, width in zip(*(axis.tolist() for axis in at), reads, *sizes, strict=True):
        code = codes[number]
        by_subject[subjects[column]].append(ErrorInIt(code, code not in USUAL, READS[way], middle, width))
    for code, share in sureness.errors.unsized.items():
        for column in np.flatnonzero(share[groups] > 0).tolist():
            by_subject[subjects[column]].append(ErrorInIt(code, True, "either", None, None))
    return by_subject


def weightiest_error(assessment: Assessment, group: int, raised: bool) -> str | None:
    """Return the code of the error that speaks most against a group's average being raised, or not; None without any.

    The most is by the mean square of what it may be wrong by the way the average lies.
    """
    sign, errors = (1.0 if raised else -1.0), assessment.sureness.errors
    squares = {}
    for code, part in errors.parts.items():
        sizes = zip(part.mean[:, group].tolist(), part.variance[:, group].tolist(), strict=True)
        squares[code] = sum(max(sign * mean, 0.0) ** 2 + variance for mean, variance in sizes)
    weightiest = max(squares, key=lambda name: squares[name], default=None)
    return weightiest if weightiest is not None and squares[weightiest] > 0 else None


def _questions(assessment: Assessment, groups: Ints) -> list[list[str]]:
    """Return what would sharpen each average's probability most: by the mean square error for want of it."""
    wanting = assessment.sureness.errors.wanting
    names = list(wanting)
    squares = np.array([wanting[name][groups] for name in names])
    largest = np.argsort(-squares, axis=0, kind="stable")[:MOST_QUESTIONS]
    by_rank = zip(largest.T.tolist(), np.take_along_axis(squares, largest, axis=0).T.tolist(), strict=True)
    return [[names[row] for row, square in zip(rows, own, strict=True) if square > 0] for rows, own in by_rank]
