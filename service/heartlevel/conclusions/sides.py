"""What may be said of each side of a subject: its average and category, and what speaks against it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.conclusions.findings import Finding
from heartlevel.facts.sides import LIMITS_OF, NO_SIDE
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import DIRECTIONS, MEASURED_SIDES

# Reasons that are no rule's: nothing was measured, too little was, or the guideline publishes no limit for the method.
NOT_MEASURED, TOO_FEW_READINGS, NO_LIMIT = "not-measured", "too-few-readings", "no-limit-published"
OFFICE_AND_OUTSIDE = ("office", "outside")


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
    measured = assessment.sides.measured.readings.T > 0
    return [np.flatnonzero(own).tolist() for own in measured]


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

    Nothing where both sides may speak.
    """
    sides, unfit = assessment.sides, list[list[tuple[str, list[str]]]]()
    fit = assessment.facts["comparison"]["sides_fit"]
    for subject, own in enumerate(objections):
        lacking = []
        for name, chosen in zip(OFFICE_AND_OUTSIDE, (sides.office, sides.outside), strict=True):
            if fit[subject] != 1:
                lacking += _lacking(assessment, subject, name, int(chosen[subject]), own)
        unfit.append(lacking)
    return unfit


def _lacking(
    assessment: Assessment, subject: int, where: str, side: int, own: dict[int, list[Objection]]
) -> list[tuple[str, list[str]]]:
    if side != NO_SIDE and assessment.fitness.fit[side, subject]:
        return []
    first, *others = ("office-attended", "office-unattended") if where == "office" else ("home", "ambulatory-24h")
    candidates = [MEASURED_SIDES.index(name) for name in (first, *others)] if side == NO_SIDE else [side]
    measured = [candidate for candidate in candidates if assessment.sides.measured.readings[candidate, subject] > 0]
    if not measured:
        return [(first, [NOT_MEASURED])]
    return [(MEASURED_SIDES[candidate], [objection.code for objection in own.get(candidate, []) if objection.takes_away])
            for candidate in measured]  # fmt: skip


def category_at(assessment: Assessment, by_side: int, subject: int, side: int) -> tuple[str, str] | None:
    """Return id and title of a side's category by its number; None where it has none."""
    if by_side == NO_CATEGORY:
        return None
    category = assessment.guidelines[subject].categories[LIMITS_OF[MEASURED_SIDES[side]]][by_side]
    return category.id, category.title
