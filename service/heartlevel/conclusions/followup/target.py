"""Whether the target of treatment is attained, by the averages of home and office each on its own."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Ints
from heartlevel.conclusions.category import CLASSIFIABLE, SubjectCategories
from heartlevel.intake.request import Request
from heartlevel.profiles import Guideline, Target, TargetLimits
from heartlevel.statistics.long_run import chance_at_or_above
from heartlevel.vocabulary import MEASURED_SIDES, SETTINGS, TARGET_COMPARATORS

ATTAINED, NOT_ATTAINED, BELOW, CANNOT_BE_TOLD = TARGET_STATES = ("attained", "not-attained", "below", "cannot-be-told")
# Why it cannot be told.
TOO_FEW, NOT_RELIED_ON, NO_PROBABILITY, NEAR, OWN, NO_TARGET = UNTOLD = (
    "too-few-readings", "not-relied-on", "no-probability", "near-the-target", "target-of-ones-own",
    "no-target-published")  # fmt: skip
# Sides with targets, and what a guideline or a request calls them.
TARGETED_SIDES = {"home": "home", "office-attended": "office"}
BY_REQUEST, BY_GUIDELINE = ORIGINS = ("request", "guideline")
AGE_UNKNOWN = "age-not-recorded"
AT_MOST = TARGET_COMPARATORS[1]


@dataclass(frozen=True, slots=True)
class SideTarget:
    """A target in one setting, and whether it is attained there."""

    side: str
    limits: TargetLimits | None
    state: str
    untold: str | None  # why it cannot be told
    attained: float | None  # probability that both long-run means attain it
    below: float | None  # probability that either lies below the range


@dataclass(frozen=True, slots=True)
class TargetConcluded:
    """A person's target, and each setting that was measured in; the first one counts."""

    origin: str
    target: Target | None  # the guideline's
    exceptions: Sequence[str]  # whom it may not hold for, as far as that is not known of the person
    sides: Sequence[SideTarget]


def targets_by_subject(assessment: Assessment, categories: SubjectCategories) -> Mapping[int, TargetConcluded]:
    """Return the target of each subject that has one asked for, or is treated and judged by a guideline with targets."""
    concluded = {}
    treated = _treated(assessment)
    for subject, request in enumerate(assessment.batch.requests):
        adult = categories.person[subject] == CLASSIFIABLE
        if request.target or (treated[subject] and adult and assessment.guidelines[subject].targets):
            concluded[subject] = _concluded(assessment, subject, request)
    return concluded


def _treated(assessment: Assessment) -> Ints:
    """Mark who is treated: recorded as such, or since a day that is not after the last home or office reading."""
    facts, subjects = assessment.facts["series"].source, assessment.batch.subjects
    last = np.fmax(*(facts.last_day(SETTINGS.index(setting)) for setting in TARGETED_SIDES.values()))
    since: Ints = (subjects["on_treatment"] == 1) | (
        (subjects["on_treatment"] != 0) & (subjects["treatment_since"] <= last)
    )
    return since


def _concluded(assessment: Assessment, subject: int, request: Request) -> TargetConcluded:
    age, frail = assessment.batch.subjects["age_years"][subject], assessment.batch.subjects["frail"][subject]
    if request.target:
        limits = _asked(request.target)
        return TargetConcluded(BY_REQUEST, None, (), list(_sides(assessment, subject, limits, own=False)))
    target = _by_age(assessment.guidelines[subject], age)
    own = frail == 1 and "frail" in target.exceptions
    unknown = [name for name in target.exceptions if name != "frail" or frail != frail]
    exceptions = [*([AGE_UNKNOWN] if age != age else []), *unknown]
    sides = _sides(assessment, subject, target.limits, own=own or not target.limits)
    return TargetConcluded(BY_GUIDELINE, target, exceptions, list(sides))


def _asked(target: Mapping[str, Mapping[str, float] | str | None]) -> dict[str, TargetLimits]:
    comparator = str(target.get("comparator") or TARGET_COMPARATORS[0])
    limits = {}
    for setting in TARGETED_SIDES.values():
        asked = target.get(setting)
        if isinstance(asked, Mapping) and (asked.get("systolic") or asked.get("diastolic")):
            limits[setting] = TargetLimits(
                asked.get("systolic") or inf, asked.get("diastolic") or inf, comparator, -inf, -inf
            )  # fmt: skip
    return limits


def _by_age(guideline: Guideline, age: float) -> Target:
    """Return the target for an age; where it is not known, that for the youngest."""
    return next((target for target in guideline.targets if target.from_years <= age < target.below_years),
                guideline.targets[0])  # fmt: skip


def _sides(
    assessment: Assessment, subject: int, limits: Mapping[str, TargetLimits], *, own: bool
) -> Iterator[SideTarget]:  # fmt: skip
    measured, fit = assessment.sides.measured, assessment.fitness.fit
    for side, setting in TARGETED_SIDES.items():
        number, own_limits = MEASURED_SIDES.index(side), limits.get(setting)
        if not measured.readings[number, subject]:
            continue
        if own or own_limits is None:
            yield SideTarget(side, None, CANNOT_BE_TOLD, OWN if own else NO_TARGET, None, None)
        elif not measured.enough[number, subject]:
            yield SideTarget(side, own_limits, CANNOT_BE_TOLD, TOO_FEW, None, None)
        elif not fit[number, subject]:
            yield SideTarget(side, own_limits, CANNOT_BE_TOLD, NOT_RELIED_ON, None, None)
        else:
            yield _judged(assessment, side, subject, own_limits)


def _judged(assessment: Assessment, side: str, subject: int, limits: TargetLimits) -> SideTarget:
    group = subject * len(SETTINGS) + SETTINGS.index(TARGETED_SIDES[side])
    bounds = np.array([
        [limits.systolic, limits.lowest_systolic, inf],
        [limits.diastolic, inf, limits.lowest_diastolic],
    ])  # fmt: skip
    means = assessment.sureness.long_run.at(np.array([group]))
    reached, above_lowest_systolic, above_lowest_diastolic = chance_at_or_above(means, bounds[:, :, None])[:, 0].tolist()
    if reached != reached:
        return SideTarget(side, limits, CANNOT_BE_TOLD, NO_PROBABILITY, None, None)
    attained, below = 1 - reached, 1 - min(above_lowest_systolic, above_lowest_diastolic)
    measured = assessment.sides.measured.mean[:, MEASURED_SIDES.index(side), subject].tolist()
    sure_from = assessment.rules.follow_up.sure_from if assessment.rules.follow_up else 1.0
    state = _state(attained, below, sure_from, _by_the_numbers(measured, limits))
    return SideTarget(side, limits, state, NEAR if state == CANNOT_BE_TOLD else None, attained, below)


def _by_the_numbers(mean: Sequence[float], limits: TargetLimits) -> str:
    """Return what the average as measured comes to."""
    slack = TOLERANCE if limits.comparator == AT_MOST else -TOLERANCE
    if any(value >= limit + slack for value, limit in zip(mean, (limits.systolic, limits.diastolic), strict=True)):
        return NOT_ATTAINED
    lowest = (limits.lowest_systolic, limits.lowest_diastolic)
    return BELOW if any(value < limit - TOLERANCE for value, limit in zip(mean, lowest, strict=True)) else ATTAINED


def _state(attained: float, below: float, sure_from: float, numbers: str) -> str:
    """Return the state that is sure enough and that the numbers show; else that it cannot be told."""
    if numbers == NOT_ATTAINED:
        return NOT_ATTAINED if 1 - attained >= sure_from else CANNOT_BE_TOLD
    if numbers == BELOW and below >= sure_from:
        return BELOW
    return ATTAINED if attained >= sure_from else CANNOT_BE_TOLD
