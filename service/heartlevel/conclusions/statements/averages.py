"""The averages of sides as sentences show them: whole numbers, unless these would be on another side of a limit."""

from collections.abc import Mapping, Sequence
from math import floor
from typing import TypeAlias

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE
from heartlevel.conclusions.sureness import word_of, word_told
from heartlevel.facts.sides import AMBULATORY_SIDES, LIMITS_OF, SETTING_NUMBER
from heartlevel.profiles import Category, Guideline
from heartlevel.statistics.classification import limit_name
from heartlevel.vocabulary import MEASURED_SIDES, SETTINGS

AS_MEASURED = "as-measured"  # in the place of a sureness where nothing is probable
Values: TypeAlias = dict[str, object]


def side_shown(assessment: Assessment, subject: int, side: int, prefix: str = "") -> Values:
    """Return what a sentence shows of a side: its name, pressures (mm[Hg]) and the days averaged."""
    measured = assessment.sides.measured
    systolic, diastolic = _pressures_shown(assessment, subject, side)
    return {
        f"{prefix}side": MEASURED_SIDES[side],
        f"{prefix}systolic": systolic,
        f"{prefix}diastolic": diastolic,
        f"{prefix}days": int(measured.days_averaged[side, subject]),
    }


def _pressures_shown(assessment: Assessment, subject: int, side: int) -> list[float]:
    """Return the pressures whole where that reaches the same limits, else to one decimal, rounded or else cut.

    A half is rounded up, one that a unit's conversion left just below it too: the same pressures in kPa are told alike.
    """
    exact = assessment.sides.measured.mean[:, side, subject].tolist()
    guideline, name = assessment.guidelines[subject], LIMITS_OF[MEASURED_SIDES[side]]
    limits = [(level.systolic, level.diastolic) for level in guideline.categories.get(name, ())]
    limits += [guideline.raised_from(name), low_limits(guideline)]
    reached = _reached(exact, limits, TOLERANCE)
    for scale, half in ((1, 0.5), (10, 0.5), (10, 0.0)):
        told = [floor(scale * (pressure + TOLERANCE) + half) / scale for pressure in exact]
        if _reached(told, limits) == reached:
            break
    return told


def low_limits(guideline: Guideline) -> tuple[float, float]:
    """Return the pressures (mm[Hg]) below which a guideline's file calls a systolic or diastolic average low."""
    return guideline.limits["low.systolic"], guideline.limits["low.diastolic"]


def is_low(assessment: Assessment, subject: int, side: int) -> bool:
    """Tell whether either pressure of a side's average is low. Pressures asleep are lower, so ambulatory ones are not."""
    if side in AMBULATORY_SIDES:
        return False
    means = assessment.sides.measured.mean[:, side, subject].tolist()
    return any(mean < low for mean, low in zip(means, low_limits(assessment.guidelines[subject]), strict=True))


def _reached(
    pressures: Sequence[float], limits: Sequence[tuple[float, float]], tolerance: float = 0.0
) -> list[tuple[bool, bool]]:
    """Tell of each pair of limits whether each pressure reaches its own."""
    systolic, diastolic = pressures
    return [(systolic >= limit - tolerance, diastolic >= other - tolerance) for limit, other in limits]


def sureness_of_side(assessment: Assessment, subject: int, side: int) -> str | None:
    """Return how sure it is that a side is raised, or that it is not, as a word; None where it cannot be told yet.

    No error is credited for pointing away from the limit, so that none makes a sentence surer.
    """
    certain = float(assessment.sureness.raised_or_not[group_of(subject, side)])
    return AS_MEASURED if certain != certain else word_told(word_of(certain, assessment.rules.sureness))


def sure_by_numbers(
    assessment: Assessment, of_limit: Sequence[Mapping[str, float]], subject: int, side: int, raised: bool
) -> bool:
    """Tell whether that would be at least probable by some probabilities of limits, one mapping a group."""
    guideline, name = assessment.guidelines[subject], LIMITS_OF[MEASURED_SIDES[side]]
    limit = Category("", "", *guideline.raised_from(name))
    probable = of_limit[group_of(subject, side)].get(limit_name(limit), 0.5)
    return word_told(word_of(probable if raised else 1 - probable, assessment.rules.sureness)) is not None


def group_of(subject: int, side: int) -> int:
    """Return the number of the average that a side of a subject is judged by."""
    return subject * len(SETTINGS) + int(SETTING_NUMBER[side])
