"""Which statements a conclusion has, in a fixed order: what it comes to, what stands against it, what to do first."""

from collections.abc import Iterator, Sequence

from heartlevel.conclusions.sides import NOT_MEASURED
from heartlevel.conclusions.statements.besides import besides
from heartlevel.conclusions.statements.followed import change_of, target_of
from heartlevel.conclusions.statements.result import CANNOT_BE_TOLD, result_of
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.conclusions.urgency.levels import NONE
from heartlevel.facts.sides import NO_SIDE
from heartlevel.vocabulary import MEASURED_SIDES, URGENCY_LEVELS

MOST, PAST = 3, "urgency-history"
REVIEW = "clinical-review"  # what a pattern asks for: it says nothing that the result does not


def statements_of(material: Material) -> list[list[Statement]]:
    """Return each subject's statements, three at most."""
    return [_of_subject(material, subject) for subject in range(len(material.assessment.batch.requests))]


def _of_subject(material: Material, subject: int) -> list[Statement]:
    result = result_of(material, subject)
    urgent = list(_urgency(material, subject))
    past = [statement for statement in urgent if statement.code == PAST]
    urgent = [statement for statement in urgent if statement.code != PAST]
    first = [] if urgent else list(_first(material, subject, result))
    followed = [*target_of(material, subject), *change_of(material, subject)]
    qualifiers = [*past, *besides(material, subject, result), *_not_compared(material, subject),
                  *_even_so(material, subject, result), *followed]  # fmt: skip
    statements = [*urgent, result, *qualifiers[: MOST - len(urgent) - 1 - _wants_room(material, subject, first)]]
    return [*statements, *first][:MOST]


def _wants_room(material: Material, subject: int, first: Sequence[Statement]) -> bool:
    """Tell whether the first step goes before what else qualifies a result: a finding asks for it, about the readings."""
    return bool(first) and bool(material.steps[subject][0].because) and material.steps[subject][0].code != REVIEW


def _urgency(material: Material, subject: int) -> Iterator[Statement]:
    """Yield how urgent it is, where there is or was anything urgent."""
    level = int(material.urgency.levels[subject])
    if level != NONE:
        yield Statement(f"urgency-{URGENCY_LEVELS[level]}", {"told": URGENCY_LEVELS[level]})


def _not_compared(material: Material, subject: int) -> Iterator[Statement]:
    """Yield the first side that was measured and keeps a pattern from being named, where another side has a category."""
    if material.category.side[subject] == NO_SIDE:
        return
    for side, codes in material.unfit[subject]:
        if codes and codes != [NOT_MEASURED] and MEASURED_SIDES.index(side) != material.category.side[subject]:
            yield Statement("not-compared", {"side": side, "reason": codes[0]})
            return


def _even_so(material: Material, subject: int, result: Statement) -> Iterator[Statement]:
    """Yield the first reason that misleads the other way than the side speaks."""
    if result.code in CANNOT_BE_TOLD or material.category.side[subject] == NO_SIDE:
        return
    other_way = "low" if material.category.raised[subject] else "high"
    for objection in material.objections[subject].get(int(material.category.side[subject]), ()):
        if objection.leaves_it and objection.reads == other_way:
            yield Statement("even-so", {"reason": objection.code})
            return


def _first(material: Material, subject: int, result: Statement) -> Iterator[Statement]:
    """Yield the first next step, where a finding asks for it or what was measured is raised or cannot be told."""
    wanted = bool(material.category.raised[subject]) or result.code in CANNOT_BE_TOLD
    for step in material.steps[subject][:1]:
        if step.because or wanted:
            yield Statement("first", {"step": step.code})
