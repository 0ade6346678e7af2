"""Guidelines and averaging protocols: limits, categories, discards. Their figures are in `rules/`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.vocabulary import PRESSURES

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
class TargetLimits:
    """A target of treatment in one setting, mm[Hg]; infinite where it says nothing of a pressure."""

    systolic: float
    diastolic: float
    comparator: str  # below, or at-most
    lowest_systolic: float
    lowest_diastolic: float


@dataclass(frozen=True, slots=True)
class Target:
    """A target for people of some ages; a setting without limits has none."""

    from_years: float
    below_years: float
    limits: Mapping[str, TargetLimits]  # by setting
    exceptions: tuple[str, ...]  # whom it may not hold for
    sources: tuple[tuple[str, str], ...]  # each with its standing


@dataclass(frozen=True, slots=True)
class Guideline:
    """What a guideline calls raised, severe and low, and its categories by setting, lowest first."""

    id: str
    short_name: str  # as it is cited in a sentence
    adults_from_years: float
    in_pregnancy: str
    after_birth_days: float  # how long after birth those limits still hold
    protocol: str
    limits: Mapping[str, float]  # dotted names, such as home.hypertension.systolic; mm[Hg], or UNPUBLISHED
    categories: Mapping[str, tuple[Category, ...]]
    written: Mapping[str, Any]  # the file's content
    targets: tuple[Target, ...] = ()  # of treatment, by age

    def raised_from(self, name: str) -> tuple[float, float]:
        """Return the systolic and diastolic limits of hypertension of a setting or side, mm[Hg]; NaN where unpublished."""
        systolic, diastolic = (self.limits[f"{name}.hypertension.{pressure}"] for pressure in PRESSURES)
        return systolic, diastolic


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
class Ladder:
    """What raises or lowers the urgency that a rule gives its findings. Levels are numbers in URGENCY_LEVELS."""

    older_after_days: float
    older: tuple[int, int]  # the level then, otherwise and in pregnancy or soon after birth
    history_after_days: tuple[float, float]  # likewise
    answered_after_days: float  # where a lower repeat was credited
    without_symptoms: int
    repeat_after_minutes: float
    after_lower_repeat: int
    lone_readings: float
    lone_among: float
    believed_up_to: tuple[float, float]  # systolic and diastolic, mm[Hg]
    symptoms: Mapping[str, tuple[tuple[int, int], ...]]  # by what they come with: levels, each with symptoms as bits
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualSpread:
    """How much days, visits or sessions of one person usually differ. Pairs are systolic and diastolic, mm[Hg].

    Both spreads are scales of Student's t with these degrees of freedom: people differ in them. Where v is the mean of
    people's variances, the scale is the root of v (ν − 2) / ν.
    """

    sd: tuple[float, float]  # between days; 0 where only whole weeks are known to differ
    degrees: float  # of freedom, above 2: what the scale weighs beside the person's own days
    correlation: float  # of systolic with diastolic
    day_correlation: float = 0.0  # of one day with the next
    week_sd: tuple[float, float] = (0.0, 0.0)  # of whole weeks around the long run


@dataclass(frozen=True, slots=True)
class UsualErrors:
    """What readings are usually too high by where nothing was recorded. Pairs are systolic and diastolic, mm[Hg]."""

    technique: tuple[float, float]  # above a trained person's readings, all faults together
    share_width: float = 0.0  # standard deviation of how often faults are there, as a share of it
    device: tuple[float, float] = (0.0, 0.0)  # standard deviation between devices that nobody checked


@dataclass(frozen=True, slots=True)
class UsualInOffice:
    """How office visits of one person usually differ, and what their average is usually too high by."""

    spread: UsualSpread
    errors: UsualErrors
    above_home: tuple[tuple[float, float], tuple[float, float]] | None  # mean and SD between people; None: not said
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SizeOfFaults:
    """What a fault of which no size is published counts for in the order of next steps (mm[Hg])."""

    by_effect: Mapping[str, float]  # of the finding: none, doubtful, unusable
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualAtHome:
    """How home days of one person usually differ, and what they are usually too high by."""

    first_day: tuple[float, float]  # the first day above later ones, systolic and diastolic, mm[Hg]
    errors: UsualErrors
    spread: UsualSpread | None
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class UsualAmbulatory:
    """How ambulatory sessions of one person usually differ."""

    spread: UsualSpread
    written: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SurenessLimits:
    """From which probabilities on a statement is called almost certain or probable."""

    almost_certain: float = 0.95
    probable: float = 0.8
    unknown_error_share: float = 0.5  # of readings with a fault of no published size, from which on nothing is told
    probable_patterns: Mapping[str, float] | None = None  # from which each pattern is probable; None: as all else
    written: Mapping[str, Any] | None = None

    def least_of_pattern(self, label: str) -> float:
        """Return from which probability on a pattern is probable."""
        return (self.probable_patterns or {}).get(label, self.probable)


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
    likely_if_seen: float  # probability at home of a fault that was seen, and of one that was not
    likely_if_not_seen: float
    written: Mapping[str, Any]
