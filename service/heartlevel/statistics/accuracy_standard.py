"""The two criteria of the accuracy standard for automated sphygmomanometers (ISO 81060-2), for checks on many people."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from heartlevel.columns import TOLERANCE, Bools, Floats
from heartlevel.statistics.comparisons import Comparisons

LIMITS = ("largest_mean", "largest_sd", "tolerance", "share", "people", "pairs")
HALVINGS = 60  # enough to exhaust double precision


@dataclass(frozen=True, slots=True)
class Standard:
    """One column a device check; the first axis is systolic, diastolic; mm[Hg], NaN where unknown."""

    enough: Bools  # people and pairs
    mean: Floats  # of all pairs
    sd: Floats  # of all pairs
    sd_of_people: Floats  # of the people's mean differences
    largest_sd: Floats  # what criterion 2 allows at this mean
    first: Bools
    second: Bools


def standard(compared: Comparisons, limits: Mapping[str, Floats]) -> Standard:
    """Judge each check, taking its occasions as people. `limits` has a value a check under each name used here.

    Criterion 1 is on all pairs together, as the standard says, though they are not independent.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = compared.sum_pairs(compared.differences) / compared.pairs
        sd = np.sqrt(compared.sum_pairs((compared.differences - mean[:, compared.check_of]) ** 2) / (compared.pairs - 1))
        people = compared.mean_by_occasion(compared.differences)
        centre = (compared.sum_occasions(people) / compared.occasions)[:, compared.check_of_occasion]
        sd_of_people = np.sqrt(compared.sum_occasions((people - centre) ** 2) / (compared.occasions - 1))
    largest = largest_sd(mean, limits["tolerance"], limits["share"])
    small = np.abs(mean) <= limits["largest_mean"] + TOLERANCE
    return Standard(
        enough=(compared.occasions >= limits["people"]) & (compared.pairs >= limits["pairs"]),
        mean=mean,
        sd=sd,
        sd_of_people=sd_of_people,
        largest_sd=largest,
        first=small & (sd <= limits["largest_sd"] + TOLERANCE),
        second=small & (sd_of_people <= largest + TOLERANCE),
    )


def largest_sd(mean: Floats, tolerance: Floats, share: Floats) -> Floats:
    """Return the largest SD at which a `share` of normal errors of that mean lies within ± tolerance.

    All in mm[Hg]. NaN where the mean itself lies outside: no SD is small enough.
    """
    size = np.abs(mean)
    low, high = np.zeros_like(size), np.zeros_like(size) + 100 * tolerance
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        within = ndtr((tolerance - size) / middle) - ndtr((-tolerance - size) / middle)
        low, high = np.where(within >= share, middle, low), np.where(within >= share, high, middle)
    return np.where(size < tolerance, low, np.nan)
