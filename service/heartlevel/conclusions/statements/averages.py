"""The averages of sides as sentences show them: whole numbers, unless these would be on another side of a limit."""

from typing import TypeAlias

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.conclusions.sureness import word_told, words_of
from heartlevel.facts.sides import LIMITS_OF, SETTING_NUMBER
from heartlevel.profiles import Category
from heartlevel.statistics.classification import limit_name
from heartlevel.vocabulary import MEASURED_SIDES, SETTINGS

AS_MEASURED = "as-measured"  # in the place of a sureness where nothing is probable
Values: TypeAlias = dict[str, object]


def side_shown(assessment: Assessment, subject: int, side: int, prefix: str = "") -> Values:
    """Return what a sentence shows of a side: its name, pressures (mm[Hg]) and days."""
    measured = assessment.sides.measured
    systolic, diastolic = _pressures_shown(assessment, subject, side)
    return {
        f"{prefix}side": MEASURED_SIDES[side],
        f"{prefix}systolic": systolic,
        f"{prefix}diastolic": diastolic,
        f"{prefix}days": int(measured.days[side, subject]),
    }


def _pressures_shown(assessment: Assessment, subject: int, side: int) -> list[float]:
    """Return the pressures whole where that reaches the same limits, else to one decimal, rounded or else cut."""
    exact = assessment.sides.measured.mean[:, side, subject]
    guideline, name = assessment.guidelines[subject], LIMITS_OF[MEASURED_SIDES[side]]
    limits = [(level.systolic, level.diastolic) for level in guideline.categories.get(name, ())]
    limits.append(guideline.raised_from(name))
    reached = [exact >= np.array(limit) - TOLERANCE for limit in limits]
    cut = np.floor(10 * (exact + TOLERANCE)) / 10
    tellings = (np.rint(exact), np.array(all_rounded(exact)), cut)
    fitting = (
        told
        for told in tellings
        if all(((told >= np.array(limit)) == at).all() for limit, at in zip(limits, reached, strict=True))
    )
    shown: list[float] = next(fitting, cut).tolist()
    return shown


def sureness_of_side(assessment: Assessment, subject: int, side: int, raised: bool) -> str | None:
    """Return how sure it is that a side is raised, or that it is not, as a word; None where it cannot be told yet."""
    guideline, name = assessment.guidelines[subject], LIMITS_OF[MEASURED_SIDES[side]]
    limit = Category("", "", *guideline.raised_from(name))
    group = subject * len(SETTINGS) + int(SETTING_NUMBER[side])
    probable = assessment.sureness.probabilities.of_limit[group].get(limit_name(limit))
    if probable is None:
        return AS_MEASURED
    return word_told(int(words_of(np.array(probable if raised else 1 - probable), assessment.rules.sureness)))
