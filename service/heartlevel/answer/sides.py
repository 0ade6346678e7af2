"""The sides of one subject as they stand in the answer, with what speaks against each."""

from collections.abc import Iterable
from typing import Any

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import rounded
from heartlevel.conclusions.sides import Objection, category_at
from heartlevel.facts.sides import NO_SIDE
from heartlevel.vocabulary import MEASURED_SIDES, PRESSURES


def sides_written(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return each side of which there are readings."""
    assessment, own = conclusions.assessment, conclusions.objections[subject]
    measured, by_side = assessment.sides.measured, conclusions.category.by_side
    written = []
    for side in conclusions.sides_there[subject]:
        category = category_at(assessment, int(by_side[side, subject]), subject, side)
        written.append({
            "side": MEASURED_SIDES[side],
            "fit": bool(assessment.fitness.fit[side, subject]),
            "reasons": objections_written(conclusions, subject, own.get(side, [])),
            "readings": int(measured.readings[side, subject]),
            "days": int(measured.days[side, subject]),
            **{name: rounded(measured.mean[row, side, subject]) for row, name in enumerate(PRESSURES)},
            "category": category and category[0],
            "title": category and category_title(conclusions, subject, category[1]),
        })  # fmt: skip
    return written


def objections_written(conclusions: Conclusions, subject: int, objections: Iterable[Objection]) -> list[dict[str, Any]]:
    """Return objections as they are told, each by the title of its finding or by a sentence of the wording."""
    wording = conclusions.assessment.rules.wording[conclusions.assessment.batch.requests[subject].language]
    return [
        {
            "code": objection.code,
            "finding": objection.finding,
            "consequence": objection.consequence,
            "reads": objection.reads,
            "takes_away": objection.takes_away,
            "text": wording.rules[objection.code].title if objection.code in wording.rules
            else wording.sureness.get(f"side-{objection.code}"),
        }
        for objection in objections
    ]  # fmt: skip


def even_so(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return what speaks against the side that is classified and yet leaves what it says."""
    own = conclusions.objections[subject].get(int(conclusions.category.side[subject]), [])
    return objections_written(conclusions, subject, (objection for objection in own if objection.leaves_it))


def category_title(conclusions: Conclusions, subject: int, title: str) -> str:
    """Return a guideline's title of a category in the language of the answer."""
    assessment = conclusions.assessment
    return assessment.rules.wording[assessment.batch.requests[subject].language].categories.get(title, title)


def sides_of_pattern(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return which sides are compared where both may speak, and else which of them may not, and why."""
    compared = conclusions.assessment.sides
    unfit = [{"side": side, "codes": codes} for side, codes in conclusions.unfit[subject]]
    office, outside = int(compared.office[subject]), int(compared.outside[subject])
    there = not unfit and NO_SIDE not in (office, outside)
    return {"between": [MEASURED_SIDES[office], MEASURED_SIDES[outside]] if there else None, "unfit": unfit}
