"""The statement of what was measured and what it comes to: one side, two sides held together, or why there is neither."""

from heartlevel.conclusions.category import TOO_YOUNG, UNCLEAR, UNFIT, UNPUBLISHED
from heartlevel.conclusions.followup.target import ATTAINED
from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.sides import NO_LIMIT, category_at
from heartlevel.conclusions.statements.averages import (
    AS_MEASURED,
    Values,
    group_of,
    is_low,
    low_limits,
    side_shown,
    sure_by_numbers,
    sureness_of_side,
)
from heartlevel.conclusions.statements.nothing import nothing_concluded
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.conclusions.sureness import weightiest_error, word_told
from heartlevel.facts.sides import HOME, NO_SIDE
from heartlevel.vocabulary import UNDETERMINED

OF_PATTERN = {"sustained": "both-raised", "office-only-elevation": "office-only", "home-only-elevation": "outside-only",
              "normal-in-both": "neither-raised"}  # fmt: skip
CANNOT_BE_TOLD = frozenset({"too-near-the-limit", "unclear-by-errors", "raised-by-numbers", "not-raised-by-numbers"})


def result_of(material: Material, subject: int) -> Statement:
    """Return what is said of a subject's pressure."""
    side = int(material.category.side[subject])
    if side == NO_SIDE:
        return _no_category(material, subject)
    sides = material.assessment.sides
    settled = LABELS[material.pattern_settled[subject]] != UNDETERMINED
    if settled and NO_SIDE not in (sides.outside[subject], sides.office[subject]):
        return _both_sides(material, subject)
    return _one_side(material, subject, side)


def limited(material: Material, subject: int) -> Values:
    """Return what a sentence shows of the limits below which an average is low."""
    guideline = material.assessment.guidelines[subject]
    systolic, diastolic = low_limits(guideline)
    return {"guideline": guideline.short_name, "low": f"{systolic:g}/{diastolic:g}"}


def _judged(material: Material, subject: int, side: int) -> Values:
    category = category_at(material.assessment, int(material.category.by_side[side, subject]), subject, side)
    guideline = material.assessment.guidelines[subject]
    return {"category": category[1] if category else None, "guideline": guideline.short_name}


def _one_side(material: Material, subject: int, side: int) -> Statement:
    raised = bool(material.category.raised[subject])
    sure = sureness_of_side(material.assessment, subject, side)
    values = side_shown(material.assessment, subject, side) | _judged(material, subject, side)
    if sure is None:
        return _cannot_be_told(material, subject, side, values)
    if sure == AS_MEASURED:
        return Statement("raised-by-numbers" if raised else "not-raised-by-numbers", values)
    if not raised and material.category.by_side[side, subject] == 0 and is_low(material.assessment, subject, side):
        return Statement("low", values | {"sureness": sure} | limited(material, subject))
    return Statement("raised" if raised else _not_raised(material, subject, side), values | {"sureness": sure})


def _cannot_be_told(material: Material, subject: int, side: int, values: Values) -> Statement:
    """Return that it is too near the limit, or what makes it unsure where the numbers alone are sure."""
    raised = bool(material.category.raised[subject])
    if sure_by_numbers(material.assessment, material.as_measured().of_limit, subject, side, raised):
        error = weightiest_error(material.assessment, group_of(subject, side), raised)
        if error is not None:
            return Statement("unclear-by-errors", values | {"reason": error})
    return Statement("too-near-the-limit", values)


def _not_raised(material: Material, subject: int, side: int) -> str:
    if material.category.by_side[side, subject] > 0:
        return "between"
    return "good-week" if _is_good_week(material, subject, side) else "not-raised"


def _is_good_week(material: Material, subject: int, side: int) -> bool:
    """Say whether there are as many days at home as the protocol asks for, and nothing else is to be said.

    On treatment it is a good one only where the target is attained.
    """
    assessment, target = material.assessment, material.targets.get(subject)
    wanted = assessment.protocols[subject].limits["protocol.home.days"]
    days = assessment.sides.measured.days[side, subject]
    attained = [own.state == ATTAINED for own in target.sides if own.side == "home"] if target else []
    reached = all(attained) and (bool(attained) or assessment.batch.subjects["on_treatment"][subject] != 1)
    return side == HOME and bool(days >= wanted) and not material.findings[subject] and reached


def _both_sides(material: Material, subject: int) -> Statement:
    sides = material.assessment.sides
    outside, office = int(sides.outside[subject]), int(sides.office[subject])
    values = side_shown(material.assessment, subject, outside) | side_shown(material.assessment, subject, office, "other_")
    values |= _judged(material, subject, outside)
    code, probable = OF_PATTERN[LABELS[material.pattern_settled[subject]]], material.patterns_probable
    return Statement(code, values | {"sureness": word_told(int(probable.sureness[subject]))})


def _no_category(material: Material, subject: int) -> Statement:
    reason = int(material.category.reason[subject])
    if reason == TOO_YOUNG:
        return Statement("too-young", {"years": float(material.assessment.batch.subjects["age_years"][subject])})
    if reason == UNCLEAR:
        return Statement("limits-unclear", {})
    taken_away = _taken_away(material, subject) if reason in (UNFIT, UNPUBLISHED) else None
    return taken_away or nothing_concluded(material, subject)


def _taken_away(material: Material, subject: int) -> Statement | None:
    """Return what takes the first side with an average away; None where no side has one."""
    assessment = material.assessment
    for side, objections in sorted(material.objections[subject].items()):
        reasons = [objection.code for objection in objections if objection.takes_away]
        if assessment.sides.measured.enough[side, subject] and reasons:
            values = side_shown(assessment, subject, side)
            if reasons[0] == NO_LIMIT:
                return Statement("no-limit", values | {"guideline": assessment.guidelines[subject].short_name})
            return Statement("not-relied-on", values | {"reason": reasons[0]})
    return None
