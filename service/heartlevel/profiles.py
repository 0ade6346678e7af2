"""Guidelines and averaging protocols: limits, categories, discards. Their figures are in `rules/`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

# A limit that a guideline does not publish: whatever is compared with it is unknown.
UNPUBLISHED = float("nan")


@dataclass(frozen=True, slots=True)
class Category:
    """A category of a guideline, reached when either pressure is at or above its own (infinity: never)."""

    id: str
    title: str
    systolic: float
    diastolic: float


@dataclass(frozen=True, slots=True)
class Guideline:
    """What a guideline calls raised, severe and low, and its categories by setting, lowest first."""

    id: str
    adults_from_years: float
    in_pregnancy: str
    after_birth_days: float  # how long after birth those limits still hold
    protocol: str
    limits: Mapping[str, float]  # dotted names, such as home.hypertension.systolic; mm[Hg], or UNPUBLISHED
    categories: Mapping[str, tuple[Category, ...]]
    written: Mapping[str, Any]  # the file's content


@dataclass(frozen=True, slots=True)
class Protocol:
    """How readings are to be gathered and averaged."""

    id: str
    title: str
    limits: Mapping[str, float]  # dotted names, such as protocol.home.minimum_days
    office_use: str
    check_order: tuple[str, ...]  # who takes each reading in turn where a device is checked in steps
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualInOffice:
    """How much office visits of one person usually differ, and how that weighs beside the person's own visits."""

    sd: tuple[float, float]  # systolic and diastolic, mm[Hg]
    degrees: float  # of freedom
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SizeOfFaults:
    """What a fault of which no size is published counts for in the order of next steps (mm[Hg])."""

    by_effect: Mapping[str, float]  # of the finding: none, doubtful, unusable
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualAtHome:
    """By how much home readings are usually too high, systolic and diastolic (mm[Hg])."""

    first_day: tuple[float, float]  # the first day above later ones
    technique: tuple[float, float]  # a patient's readings above a trained person's
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualChange:
    """How far apart two periods of one person lie by chance, by one way of measuring; systolic and diastolic, mm[Hg]."""

    between_periods: tuple[float, float]  # standard deviation that more days do not lessen
    between_days: tuple[float, float]  # standard deviation
    possible_from: tuple[float, float]
    clear_from: tuple[float, float]
    degrees: float  # of freedom, of the spread between days


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What is held against what, and when, where a person is followed up."""

    pauses: Mapping[str, float]  # longest within a period, days, by setting
    changes: Mapping[str, UsualChange]  # by way of measuring
    opposite_seasons_days: float
    season: tuple[float, float]  # systolic and diastolic, mm[Hg]
    sure_from: float
    observed_within_days: float
    written: Mapping[str, Any]
