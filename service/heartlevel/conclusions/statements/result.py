"""The statement of what was measured and what it comes to: one side, two sides held together, or why there is neither."""

from heartlevel.conclusions.category import TOO_YOUNG, UNCLEAR, UNFIT, UNPUBLISHED
from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.sides import category_at
from heartlevel.conclusions.statements.averages import AS_MEASURED, Values, side_shown, sureness_of_side
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.conclusions.sureness import word_told
from heartlevel.facts.sides import HOME, NO_SIDE, OFFICE_SIDES
from heartlevel.vocabulary import UNDETERMINED

OF_PATTERN = {"sustained": "both-raised", "office-only-elevation": "office-only", "home-only-elevation": "outside-only",
              "normal-in-both": "neither-raised"}  # fmt: skip
CANNOT_BE_TOLD = frozenset({"too-near-the-limit"})


def result_of(material: Material, subject: int) -> Statement:
    """Return what is said of a subject's pressure."""
    side = int(material.category.side[subject])
    if side == NO_SIDE:
        return _no_category(material, subject)
    sides = material.assessment.sides
    if LABELS[material.pattern[subject]] != UNDETERMINED and NO_SIDE not in (sides.outside[subject], sides.office[subject]):
        return _both_sides(material, subject)
    return _one_side(material, subject, side)


def _judged(material: Material, subject: int, side: int) -> Values:
    category = category_at(material.assessment, int(material.category.by_side[side, subject]), subject, side)
    guideline = material.assessment.guidelines[subject]
    return {"category": category[1] if category else None, "guideline": guideline.short_name}


def _one_side(material: Material, subject: int, side: int) -> Statement:
    raised, level = bool(material.category.raised[subject]), int(material.category.by_side[side, subject])
    sure = sureness_of_side(material.assessment, subject, side, raised)
    values = side_shown(material.assessment, subject, side) | _judged(material, subject, side)
    if sure is None:
        return Statement("too-near-the-limit", values)
    if raised:
        code = "raised"
    elif level > 0:
        code = "between"
    else:
        code = "good-week" if _is_good_week(material, subject, side) else "not-raised"
    return Statement(code, values | {"sureness": sure})


def _is_good_week(material: Material, subject: int, side: int) -> bool:
    """Say whether there are as many days at home as the protocol asks for, and nothing else is to be said."""
    wanted = material.assessment.protocols[subject].limits["protocol.home.days"]
    days = material.assessment.sides.measured.days[side, subject]
    return side == HOME and bool(days >= wanted) and not material.findings[subject]


def _both_sides(material: Material, subject: int) -> Statement:
    sides = material.assessment.sides
    outside, office = int(sides.outside[subject]), int(sides.office[subject])
    values = side_shown(material.assessment, subject, outside) | side_shown(material.assessment, subject, office, "other_")
    values |= _judged(material, subject, outside)
    code, probable = OF_PATTERN[LABELS[material.pattern[subject]]], material.patterns_probable
    return Statement(code, values | {"sureness": word_told(int(probable.sureness[subject])) or AS_MEASURED})


def _no_category(material: Material, subject: int) -> Statement:
    assessment, reason = material.assessment, int(material.category.reason[subject])
    measured = assessment.sides.measured
    if reason == TOO_YOUNG:
        return Statement("too-young", {"years": float(assessment.batch.subjects["age_years"][subject])})
    if reason == UNCLEAR:
        return Statement("limits-unclear", {})
    if reason in (UNFIT, UNPUBLISHED):
        taken_away = _taken_away(material, subject)
        if taken_away is not None:
            return taken_away
    counted = measured.readings[:, subject]
    if not counted.any():
        return Statement("nothing-usable", {})
    home, office = counted[HOME], counted[list(OFFICE_SIDES)].sum()
    return Statement(
        "too-few",
        {"home_readings": int(home), "home_days": int(measured.days[HOME, subject]), "office_readings": int(office)},
    )


def _taken_away(material: Material, subject: int) -> Statement | None:
    """Return what takes the first side with an average away; None where no side has one."""
    measured = material.assessment.sides.measured
    for side, objections in sorted(material.objections[subject].items()):
        reasons = [objection.code for objection in objections if objection.takes_away]
        if measured.enough[side, subject] and reasons:
            values = side_shown(material.assessment, subject, side)
            return Statement("not-relied-on", values | {"reason": reasons[0]})
    return None
