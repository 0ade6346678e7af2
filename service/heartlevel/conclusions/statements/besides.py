"""The statements beside a result: that the pressure falls on standing, that a number is low, what another method says,
what the other side shows.
"""

from collections.abc import Iterator
from math import isnan

from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.statements.averages import is_low, low_limits, side_shown
from heartlevel.conclusions.statements.result import OF_PATTERN, limited
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.facts.sides import AMBULATORY_SIDES, HOME, NO_SIDE, OFFICE_SIDES
from heartlevel.vocabulary import UNDETERMINED

FALL = "fall_on_standing"  # part of the names of the facts of such findings


def besides(material: Material, subject: int, result: Statement) -> Iterator[Statement]:
    """Yield what stands beside the result of one side or of both."""
    yield from _falls(material, subject)
    side = int(material.category.side[subject])
    if side != NO_SIDE:
        yield from _low(material, subject, result)
        yield from _otherwise(material, subject, side)
        yield from _other_side(material, subject, side, result)


def _falls(material: Material, subject: int) -> Iterator[Statement]:
    """Yield that the pressure falls on standing up, where a finding tells so."""
    if any(FALL in fact for finding in material.findings[subject] for fact in finding.facts):
        yield Statement("falls-on-standing", {})


def _low(material: Material, subject: int, result: Statement) -> Iterator[Statement]:
    """Yield the first side with a low average that the result does not tell of."""
    measured, told = material.assessment.sides.measured, result.code == "low"
    raised = measured.raised[:, subject].tolist()
    for side in (HOME, *OFFICE_SIDES):
        own = told and side == int(material.category.side[subject])
        if not own and not isnan(raised[side]) and is_low(material.assessment, subject, side):
            values = side_shown(material.assessment, subject, side) | limited(material, subject)
            both = measured.mean[0, side, subject] < low_limits(material.assessment.guidelines[subject])[0]
            yield Statement("low-besides" if both else "low-diastolic", values)
            return


def _otherwise(material: Material, subject: int, side: int) -> Iterator[Statement]:
    """Yield what home says where an ambulatory measurement, which stands first, says otherwise."""
    raised = material.assessment.sides.measured.raised[:, subject]
    if side in AMBULATORY_SIDES and material.assessment.fitness.fit[HOME, subject] and raised[side] != raised[HOME]:
        yield _beside("says-otherwise", material, subject, HOME)


def _other_side(material: Material, subject: int, side: int, result: Statement) -> Iterator[Statement]:
    """Yield what the office shows where it may be compared and the pattern is less than probable."""
    office = int(material.assessment.sides.office[subject])
    decided = LABELS[material.pattern[subject]] != UNDETERMINED
    if decided and office not in (NO_SIDE, side) and result.code not in OF_PATTERN.values():
        yield _beside("beside", material, subject, office)


def _beside(code: str, material: Material, subject: int, side: int) -> Statement:
    raised = material.assessment.sides.measured.raised[side, subject] == 1
    return Statement(f"{code}-{'raised' if raised else 'not-raised'}", side_shown(material.assessment, subject, side))
