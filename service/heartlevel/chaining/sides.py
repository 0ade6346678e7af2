"""From findings to which sides may speak, as rules of the engine; what is counted or averaged is taken as it is."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.chaining.findings import Findings
from heartlevel.columns import TOLERANCE, Bools
from heartlevel.facts.sides import SETTING_NUMBER, limits_of_sides
from heartlevel.ruling.effects.fitness import SCOPES_OF_SIDES, sides_standing
from heartlevel.ruling.language.rules import Consequence, Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.chains import NamedShape, follow
from heartlevel.statistics.selection import KEPT
from heartlevel.vocabulary import DIRECTIONS, MEASURED_SIDES

ByScope = Mapping[str, Findings]


@dataclass(frozen=True, slots=True)
class Reason:
    """A consequence of a rule for a side, with its name among the engine's."""

    name: str
    rule: Rule
    consequence: Consequence
    side: int  # in MEASURED_SIDES


def reasons_of(ruleset: RuleSet) -> Iterator[Reason]:
    """Yield what rules say of sides."""
    for scope in SCOPES_OF_SIDES:
        for rule in ruleset.rules[scope]:
            for number, consequence in enumerate(rule.consequences):
                for side in consequence.sides:
                    yield Reason(f"{side}/{rule.id}/{number}", rule, consequence, MEASURED_SIDES.index(side))


def sides_followed(assessment: Assessment, findings: ByScope) -> dict[str, Bools]:
    """Return which sides are fit and which are excluded as it follows from findings: a row a side, a column a subject."""
    reasons = list(reasons_of(assessment.rules))
    rules = dict[str, NamedShape]()
    for side in range(len(MEASURED_SIDES)):
        rules |= _rules_of_side(MEASURED_SIDES[side], [reason for reason in reasons if reason.side == side])
    concluded = follow(rules, _rows(assessment, findings, reasons))
    return {
        what: np.array([[row.get(f"{side}/{what}", False) for row in concluded] for side in MEASURED_SIDES])
        for what in ("fit", "excluded")
    }


def _rules_of_side(side: str, reasons: list[Reason]) -> dict[str, NamedShape]:
    raised, not_raised = f"{side}/raised", f"{side}/not-raised"
    rules = dict[str, NamedShape]()
    excluding, shifting = list[NamedShape](), list[NamedShape]()
    for reason in reasons:
        name = reason.name
        either = ("none", f"{name}/high", f"{name}/low")
        against = ("all", f"{name}/high", raised), ("all", f"{name}/low", not_raised), ("none", raised, not_raised)
        rules[f"{name}/leans"] = ("all", name, ("any", either, *against))
        if reason.consequence.does == "excludes":
            excluding.append(f"{name}/leans")
        elif reason.consequence.does == "shifts":
            shifting.append(("all", f"{name}/leans", ("any", ("none", f"{side}/standing"), either)))
    unfit = [*excluding, *shifting]
    if excluding:
        rules[f"{side}/excluded"] = ("any", *excluding)
    fit: list[NamedShape] = [f"{side}/enough", ("any", raised, not_raised)]
    if unfit:
        rules[f"{side}/unfit"] = ("any", *unfit)
        fit.append(("none", f"{side}/unfit"))
    return {**rules, f"{side}/fit": ("all", *fit)}


def _rows(assessment: Assessment, findings: ByScope, reasons: list[Reason]) -> list[dict[str, bool]]:
    measured = assessment.sides.measured
    kept, doubt = assessment.selection.left_out == KEPT, assessment.facts["series"].source.doubt
    standing = sides_standing(assessment.batch, kept, doubt, measured, limits_of_sides(assessment.guidelines))
    columns = {"raised": measured.raised == 1, "not-raised": measured.raised == 0,
               "enough": measured.enough, "standing": standing}  # fmt: skip
    rows = [
        {f"{side}/{name}": bool(values[number, subject]) for name, values in columns.items()
         for number, side in enumerate(MEASURED_SIDES)}
        for subject in range(len(assessment.guidelines))
    ]  # fmt: skip
    for reason in reasons:
        applies, reads = _applies(assessment, findings, reason, kept), _reads(assessment, reason)
        for subject, row in enumerate(rows):
            row |= {reason.name: applies[subject], f"{reason.name}/high": reads[subject] == "high",
                    f"{reason.name}/low": reads[subject] == "low"}  # fmt: skip
    return rows


def _applies(assessment: Assessment, findings: ByScope, reason: Reason, kept: Bools) -> list[bool]:
    """Return for whom a reason is given: a rule of the series fires, or others do for a share of the side's readings."""
    fired = [row.get(reason.rule.id, False) for row in findings[reason.rule.scope]]
    if reason.rule.scope == "series":
        return fired
    batch = assessment.batch
    counted = [[0, 0] for _ in assessment.guidelines]
    for row in np.flatnonzero(kept & (batch.setting == SETTING_NUMBER[reason.side])).tolist():
        counts = counted[int(batch.subject_of[row])]
        counts[0] += 1
        counts[1] += fired[row if reason.rule.scope == "reading" else int(batch.sitting_of[row])]
    return [at_fault > 0 and at_fault >= reason.consequence.share * whole - TOLERANCE for whole, at_fault in counted]


def _reads(assessment: Assessment, reason: Reason) -> list[str]:
    told, size = reason.consequence.reads, len(assessment.guidelines)
    if told in DIRECTIONS:
        return [told] * size
    return ["either" if value != value else DIRECTIONS[int(value)] for value in assessment.facts["series"][told].tolist()]
