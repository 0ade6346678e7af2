"""From sides and findings to the category, the pattern, and whether anything urgent was found, as rules of the engine."""

from collections.abc import Iterator

from heartlevel.assessment import Assessment
from heartlevel.chaining.findings import Findings, firing_only
from heartlevel.chaining.sides import ByScope
from heartlevel.columns import TOLERANCE, Bools
from heartlevel.conclusions.category import levels_of
from heartlevel.conclusions.pattern import LABELS
from heartlevel.facts.sides import ATTENDED, HOME, NO_SIDE, UNATTENDED
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.chains import NamedShape, follow
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import PATTERNS, UNDETERMINED

AMBULATORY = "ambulatory"
# The sides that can name a category, the first that does decides.
IN_ORDER = (AMBULATORY, "home", "office-attended", "office-unattended")
SIDE = {"home": HOME, "office-attended": ATTENDED, "office-unattended": UNATTENDED}
RAISED_OR_NOT = 2  # what is published of an ambulatory average


def patterns_followed(ruleset: RuleSet, of_comparison: Findings) -> list[int]:
    """Return each subject's pattern (in LABELS): that of the one rule that fires; undetermined for none or several."""
    rules = [rule for rule in ruleset.rules["comparison"] if rule.pattern]
    chained = dict[str, NamedShape]()
    for rule in rules:
        others = [other.id for other in rules if other is not rule]
        chained[f"{rule.id}/alone"] = ("all", rule.id, ("none", *others)) if others else rule.id
    for pattern in PATTERNS:
        alone = [f"{rule.id}/alone" for rule in rules if rule.pattern == pattern]
        if alone:
            chained[f"pattern/{pattern}"] = ("any", *alone)
    concluded = follow(chained, [firing_only(row, rules) for row in of_comparison])
    named = [[pattern for pattern in PATTERNS if row.get(f"pattern/{pattern}")] for row in concluded]
    return [LABELS.index(patterns[0] if patterns else UNDETERMINED) for patterns in named]


def urgent_followed(assessment: Assessment, findings: ByScope) -> list[bool]:
    """Return for whom an urgent rule fires, whatever is made of it by what followed and by its age."""
    size = len(assessment.guidelines)
    rules = [rule for rule in assessment.rules.every_rule() if rule.urgent]
    rows = [dict.fromkeys((rule.id for rule in rules), False) for _ in range(size)]
    for rule in rules:
        for row, subject in zip(findings[rule.scope], assessment.facts[rule.scope].subject_of.tolist(), strict=True):
            rows[subject][rule.id] |= row.get(rule.id, False)
    chained: dict[str, NamedShape] = {"urgent": ("any", *(rule.id for rule in rules))} if rules else {}
    return [row.get("urgent", False) for row in follow(chained, rows)] if rules else [False] * size


def categories_followed(assessment: Assessment, excluded: Bools) -> tuple[list[int], list[int]]:
    """Return which side names each subject's category, and its number among those of guideline and side.

    `excluded` are the sides that something takes away (a row a side, a column a subject).
    """
    ambulatory = assessment.sides.ambulatory
    most = max(RAISED_OR_NOT, *(len(levels) for levels in _levels_of_all(assessment)))
    none_reached = {f"{name}/reaches-{level}": False for name in IN_ORDER for level in range(most)}
    rows = [
        none_reached | _row(assessment, excluded, subject, int(ambulatory[subject]))
        for subject in range(len(assessment.guidelines))
    ]
    sides, categories = [], []
    for subject, row in enumerate(follow(_of_category(most), rows)):
        chosen = next((name for name in IN_ORDER if row[f"{name}/chosen"]), None)
        side = NO_SIDE if chosen is None else int(ambulatory[subject]) if chosen == AMBULATORY else SIDE[chosen]
        levels = [number for number in range(most) if chosen and row[f"{chosen}/category-{number}"]]
        sides.append(side)
        categories.append(levels[0] if levels else NO_CATEGORY)
    return sides, categories


def _levels_of_all(assessment: Assessment) -> Iterator[tuple[object, ...]]:
    for subject in range(len(assessment.guidelines)):
        yield from (levels_of(assessment, subject, side) for side in SIDE.values())


def _of_category(most: int) -> dict[str, NamedShape]:
    rules: dict[str, NamedShape] = {"classifiable": ("none", "unclear", "too-young")}
    for order, name in enumerate(IN_ORDER):
        for level in range(most):
            above = [f"{name}/reaches-{higher}" for higher in range(level + 1, most)]
            rules[f"{name}/category-{level}"] = (
                "all", "classifiable", f"{name}/known", f"{name}/reaches-{level}", ("none", f"{name}/excluded", *above),
            )  # fmt: skip
        rules[f"{name}/named"] = ("any", *(f"{name}/category-{level}" for level in range(most)))
        earlier = [f"{other}/named" for other in IN_ORDER[:order]]
        rules[f"{name}/chosen"] = ("all", f"{name}/named", ("none", *earlier)) if earlier else f"{name}/named"
    return rules


def _row(assessment: Assessment, excluded: Bools, subject: int, ambulatory: int) -> dict[str, bool]:
    measured, adult = assessment.sides.measured, assessment.guidelines[subject].adults_from_years
    row = {
        "unclear": bool(assessment.facts["series"]["limits_unclear"][subject] == 1),
        "too-young": bool(assessment.batch.subjects["age_years"][subject] < adult),
    }
    for name in IN_ORDER:
        side = ambulatory if name == AMBULATORY else SIDE[name]
        there = side != NO_SIDE
        raised = float(measured.raised[side, subject]) if there else float("nan")
        row |= {f"{name}/known": raised == raised, f"{name}/excluded": there and bool(excluded[side, subject])}
        reached = [True, raised == 1] if name == AMBULATORY else _reached(assessment, subject, side)
        row |= {f"{name}/reaches-{level}": value for level, value in enumerate(reached)}
    return row


def _reached(assessment: Assessment, subject: int, side: int) -> list[bool]:
    systolic, diastolic = assessment.sides.measured.mean[:, side, subject].tolist()
    return [
        systolic >= level.systolic - TOLERANCE or diastolic >= level.diastolic - TOLERANCE
        for level in levels_of(assessment, subject, side)
    ]
