"""What may be said of each side of a subject: its average and category, and what speaks against it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.conclusions.findings import Finding
from heartlevel.facts.sides import HOME, LIMITS_OF, NO_SIDE, OFFICE_SIDES, WHOLE_DAY
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import DIRECTIONS, MEASURED_SIDES

# Reasons that are no rule's: nothing was measured, too little was, or the guideline publishes no limit for the method.
NOT_MEASURED, TOO_FEW_READINGS, NO_LIMIT = "not-measured", "too-few-readings", "no-limit-published"


@dataclass(frozen=True, slots=True)
class Objection:
    """Something that speaks against a side, by its code: a rule's id, or one of those above."""

    code: str
    finding: str | None  # its name in the answer; None where no finding says it
    consequence: str  # one of CONSEQUENCES
    reads: str  # one of DIRECTIONS
    takes_away: bool  # what the side says leans on it

    @property
    def leaves_it(self) -> bool:
        """It misleads, but not the way the side speaks: that stands even so."""
        return self.consequence != "weakens" and not self.takes_away


def sides_there(assessment: Assessment) -> list[list[int]]:
    """Return, for each subject, the sides of which there are usable readings."""
    there: list[list[int]] = [[] for _ in assessment.batch.requests]
    for subject, side in np.argwhere(assessment.sides.measured.readings.T > 0).tolist():
        there[subject].append(side)
    return there


def objections_of(assessment: Assessment, findings: Sequence[Sequence[Finding]]) -> list[dict[int, list[Objection]]]:
    """Return, for each subject, the objections to each of its sides; those without any are left out."""
    measured = assessment.sides.measured
    by_subject: list[dict[int, list[Objection]]] = [{} for _ in findings]
    for reason in assessment.fitness.reasons:
        for subject in np.flatnonzero(reason.applies).tolist():
            objection = Objection(
                reason.rule.id, _finding_named(findings[subject], reason.rule.id), reason.does,
                DIRECTIONS[reason.reads[subject]], bool(reason.takes_away[subject]),
            )  # fmt: skip
            by_subject[subject].setdefault(reason.side, []).append(objection)
    few = (measured.readings > 0) & ~measured.enough
    unlimited = measured.enough & np.isnan(measured.raised)
    for code, marked in ((TOO_FEW_READINGS, few), (NO_LIMIT, unlimited)):
        for side, subject in np.argwhere(marked).tolist():
            others = by_subject[subject].setdefault(side, [])
            if not any(objection.takes_away for objection in others):
                others.append(Objection(code, None, "excludes", "either", True))
    return by_subject


def _finding_named(findings: Sequence[Finding], rule: str) -> str | None:
    return next((finding.name for finding in findings if finding.rule.id == rule), None)


def unfit_sides(
    assessment: Assessment, objections: Sequence[dict[int, list[Objection]]]
) -> list[list[tuple[str, list[str]]]]:
    """Return, for each subject, the sides that keep a pattern from being named, with the codes of what takes them away.

    Nothing where both sides may speak. Where no side of the office, or none outside it, may speak, all that were measured
    are there; where none was, the one that is usually measured.
    """
    sides, fit = assessment.sides, assessment.facts["comparison"]["sides_fit"]
    unfit: list[list[tuple[str, list[str]]]] = [[] for _ in objections]
    for subject in np.flatnonzero(fit != 1).tolist():
        for chosen, candidates in ((sides.office, OFFICE_SIDES), (sides.outside, (HOME, WHOLE_DAY))):
            side, own = int(chosen[subject]), objections[subject]
            if side != NO_SIDE and assessment.fitness.fit[side, subject]:
                continue
            measured = [other for other in candidates if sides.measured.readings[other, subject] > 0] or candidates[:1]
            unfit[subject] += [(MEASURED_SIDES[other], _taking_away(own.get(other, []))) for other in measured]
    return unfit


def _taking_away(objections: Sequence[Objection]) -> list[str]:
    return [objection.code for objection in objections if objection.takes_away] or [NOT_MEASURED]


def category_at(assessment: Assessment, by_side: int, subject: int, side: int) -> tuple[str, str] | None:
    """Return id and title of a side's category by its number; None where it has none."""
    if by_side == NO_CATEGORY:
        return None
    category = assessment.guidelines[subject].categories[LIMITS_OF[MEASURED_SIDES[side]]][by_side]
    return category.id, category.title
