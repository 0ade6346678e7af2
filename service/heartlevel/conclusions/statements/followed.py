"""The statements of follow-up: whether the target of treatment is attained, and what changed since the period before."""

from collections.abc import Iterator, Sequence
from datetime import date
from math import inf

from heartlevel.conclusions.followup.target import ATTAINED, BELOW, CANNOT_BE_TOLD, NOT_ATTAINED, SideTarget
from heartlevel.conclusions.statements.averages import Values
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.conclusions.sureness import word_of, word_told
from heartlevel.profiles import TargetLimits
from heartlevel.statistics.followup.change import HIGHER, LOWER

OWN_TARGET = "own-target"  # in the place of the guideline, where the request has a target
EARLIER_RAISED, FROM_HIGH = "earlier-raised", "change-lower-from-high"
CLEAR = {LOWER: "change-lower", HIGHER: "change-higher"}


def target_of(material: Material, subject: int) -> Iterator[Statement]:
    """Yield whether the target is attained, by the first side it is held against."""
    concluded = material.targets.get(subject)
    if concluded is None:
        return
    for side in concluded.sides[:1]:
        if side.limits is not None:
            guideline = material.assessment.guidelines[subject].short_name if concluded.target else OWN_TARGET
            values: Values = {"side": side.side, "target": _written(side.limits), "guideline": guideline}
            word = _word(material, side)
            values |= {"sureness": word} if word else {}
            yield Statement(f"target-{side.state if word else CANNOT_BE_TOLD}", values)


def _word(material: Material, side: SideTarget) -> str | None:
    """Return how sure a state is, as a word; None where it cannot be told."""
    chances = {ATTAINED: side.attained, NOT_ATTAINED: side.attained, BELOW: side.below}
    chance = chances.get(side.state)
    if chance is None:
        return None
    return word_told(word_of(1 - chance if side.state == NOT_ATTAINED else chance, material.assessment.rules.sureness))


def _written(limits: TargetLimits) -> str:
    """Write a target as figures: 130/80, with its range where it has one."""
    ranges = zip((limits.lowest_systolic, limits.lowest_diastolic), (limits.systolic, limits.diastolic), strict=True)
    return "/".join("–" if high == inf else f"{high:g}" if low == -inf else f"{low:g}–{high:g}" for low, high in ranges)


def change_of(material: Material, subject: int) -> Iterator[Statement]:
    """Yield what changed since the period before, where it is more than chance explains."""
    spans = material.periods.get(subject)
    for changed in material.changes.get(subject, ()) if spans else ():
        code = CLEAR.get(changed.state)
        if code is not None and spans is not None:
            from_high = changed.state == LOWER and EARLIER_RAISED in changed.cautions
            yield Statement(FROM_HIGH if from_high else code, {
                "side": changed.side,
                "before": _pair(changed.before),
                "now": _pair(changed.after),
                "since": date.fromordinal(spans[-2].last),
            })  # fmt: skip
            return


def _pair(pressures: Sequence[float]) -> str:
    return "/".join(f"{round(value):d}" for value in pressures)
