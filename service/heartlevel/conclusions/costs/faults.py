"""What faults cost: how far off the readings concerned may be, for whom a fault is among the reasons for no category."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, extreme_by
from heartlevel.conclusions.category import TOO_FEW, UNFIT, SubjectCategories
from heartlevel.conclusions.firings import RulesBySubject
from heartlevel.ruling.language.rules import Rule, Shift
from heartlevel.vocabulary import EFFECTS, PRESSURES, SCOPES

UNUSABLE = EFFECTS.index("unusable")


@dataclass(frozen=True, slots=True)
class FindingCosts:
    """One value a row of `RulesBySubject`."""

    takes_category_away: Bools  # there is no category, and the rule is among the reasons
    off_by: Floats  # axes: least and most, pressure, row; mm[Hg] too high as published, NaN where no size is


def costs_of(assessment: Assessment, category: SubjectCategories, fired: RulesBySubject) -> FindingCosts:
    """Return what each rule that fired for a subject costs there."""
    size = len(assessment.batch.requests)
    rules = [(scope, rule) for scope in SCOPES for rule in assessment.verdicts[scope].rules]
    excluding = _excluding(assessment, {rule.id: number for number, (_, rule) in enumerate(rules)}, size)
    sets_aside = np.array([rule.effect == UNUSABLE for _, rule in rules])[fired.rule] & (fired.readings > 0)
    reason = category.reason[fired.subject]
    away = ((reason == UNFIT) & excluding[fired.rule, fired.subject]) | ((reason == TOO_FEW) & sets_aside)
    off_by = np.full((2, len(PRESSURES), len(fired.rule)), np.nan)
    for number in np.unique(fired.rule).tolist():
        mine, (scope, rule) = fired.rule == number, rules[number]
        for pressure, ends in _sizes(assessment, scope, rule, size):
            off_by[:, pressure, mine] = ends[:, fired.subject[mine]]
    return FindingCosts(away, off_by)


def _excluding(assessment: Assessment, numbers: dict[str, int], size: int) -> Bools:
    """Mark, a row a rule and a column a subject, what takes a side away that would name a category."""
    excluding = np.zeros((len(numbers), size), dtype=np.bool_)
    measured = assessment.sides.measured
    for reason in assessment.fitness.reasons:
        if reason.does == "excludes":
            could = measured.enough[reason.side] & ~np.isnan(measured.raised[reason.side])
            excluding[numbers[reason.rule.id]] |= reason.takes_away & could
    return excluding


def _sizes(assessment: Assessment, scope: str, rule: Rule, size: int) -> Iterator[tuple[int, Floats]]:
    """Yield each pressure with the least and most that a rule's readings read too high, a column a subject."""
    for pressure, shift in rule.expected_error.items():
        ends = _amounts(assessment, scope, rule, shift.amount, size) if shift.amount else _published(shift, size)
        yield PRESSURES.index(pressure), ends


def _amounts(assessment: Assessment, scope: str, rule: Rule, amount: str, size: int) -> Floats:
    facts, verdicts = assessment.facts[scope], assessment.verdicts[scope]
    rows = np.flatnonzero(verdicts.fired()[verdicts.rules.index(rule)])
    owners = facts.subject_of[rows]
    return np.stack([extreme_by(owners, size, facts[amount][rows], largest=largest) for largest in (False, True)])


def _published(shift: Shift, size: int) -> Floats:
    least, most = shift.bounds or (np.nan, np.nan)
    ends = {"high": (least, most), "low": (-most, -least), "either": (-most, most)}[shift.reads]
    return np.repeat(np.array(ends, dtype=np.float64)[:, np.newaxis], size, axis=1)
