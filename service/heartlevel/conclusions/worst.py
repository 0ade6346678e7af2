"""Which of a rule's rows is the worst: the one farthest beyond what the rule compares its facts with."""

from collections.abc import Iterator

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Floats, Ints
from heartlevel.ruling.language.conditions import Condition, Group, Term
from heartlevel.ruling.language.rules import Rule

UPWARDS, DOWNWARDS = ("above", "at_least"), ("below", "at_most")


def badness(assessment: Assessment, rule: Rule, rows: Ints, subjects: Ints) -> Floats:
    """Return how far each row is beyond the comparisons that its finding is about, as a share of their values."""
    columns, worst = assessment.facts[rule.scope], np.full(len(rows), -np.inf)
    for term in deciding_terms(rule):
        way = 1.0 if term.operator in UPWARDS else -1.0
        limit = _figures(assessment, term)[subjects]
        beyond = way * (columns[term.fact.name][rows] - limit) / np.maximum(np.abs(limit), 1.0)
        worst = np.fmax(worst, beyond)
    return worst


def _figures(assessment: Assessment, term: Term) -> Floats:
    """Return what a term compares with, by subject."""
    pairs = zip(assessment.guidelines, assessment.protocols, strict=True)
    profiles = [(guideline.id, protocol.id) for guideline, protocol in pairs]
    figure = {profile: term.figures(assessment.rules.limits(*profile))[0] for profile in set(profiles)}
    return np.array([figure[profile] for profile in profiles], dtype=np.float64)


def deciding_terms(rule: Rule) -> tuple[Term, ...]:
    """Return the ordered comparisons of numbers that an explanation shows: alternatives, if there are any among them.

    What merely holds a fact within bounds is passed over: of a fact compared both ways only the first comparison counts,
    unless both are alternatives side by side.
    """
    shown = set(rule.explanation.facts())
    alternatives = tuple(term for term in _terms(rule.condition, within=False) if term.fact.name in shown)
    return alternatives or tuple(term for term in _terms(rule.condition, within=True) if term.fact.name in shown)


def _terms(condition: Condition, *, within: bool) -> Iterator[Term]:
    """Yield the ordered comparisons inside of `any`, or those anywhere but in `none`; of a fact nested deeper the first."""
    if isinstance(condition, Term):
        if within and condition.operator in UPWARDS + DOWNWARDS:
            yield condition
    elif isinstance(condition, Group) and condition.kind != "none":
        inside = within or condition.kind == "any"
        known = dict[str, str]()
        for part in condition.parts:
            for term in _terms(part, within=inside):
                way = known.setdefault(term.fact.name, term.operator)
                side_by_side = condition.kind == "any" and part is term
                if side_by_side or (way in UPWARDS) == (term.operator in UPWARDS):
                    yield term
