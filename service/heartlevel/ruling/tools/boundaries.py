"""Whether each threshold of a rule has examples just below it, at it and just above it, and the examples that are missing.

An example counts where it hinges on the comparison: with the other facts as they are given, its rule comes out otherwise if
the comparison does.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial
from math import isclose, isnan, nan
from typing import Any

from heartlevel.columns import TOLERANCE
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import ORDERED, Condition, Group, Limit, Mention, Term
from heartlevel.ruling.language.reference import Verdict, verdict
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.contradictions import findings_otherwise, given_otherwise
from heartlevel.ruling.running.examples import encoded, judged_rules, profile_of

POSITIONS = ("just below", "at", "just above")
FINEST: Mapping[str | None, float] = {
    "cm": 0.1
}  # what is read off by tenths; else whole units, or as the threshold is written
RATIO_STEP = 0.01
MOST_TRIED = 20  # ways to free an example of contradictions
OUTCOMES: Mapping[Verdict, str] = {True: "fires", False: "silent", None: "unknown"}


@dataclass(frozen=True, slots=True)
class Boundary:
    """A value that a rule compares a fact with: a figure, or a limit with its figure under the default profile."""

    rule: Rule
    term: Term
    value: float | Limit
    figure: float

    @property
    def fact(self) -> Fact:
        """The fact that is compared."""
        return self.term.fact

    def values(self, figure: float) -> dict[str, float]:
        """Return the values just below, at and just above its figure that the fact can have; none for no figure."""
        if isnan(figure):  # a limit that is not published under a profile
            return {}
        step, at = Decimal(repr(_step(self.fact, figure))), Decimal(repr(figure))
        around = dict(zip(POSITIONS, (float(at - step), figure, float(at + step)), strict=True))
        return {position: value for position, value in around.items() if _can_be(self.fact, value)}

    def __str__(self) -> str:
        """Name the comparison as it is written."""
        shown = f"limit {self.value.name} ({self.figure:g})" if isinstance(self.value, Limit) else f"{self.figure:g}"
        return f"{self.fact.name} {self.term.operator} {shown}"


def thresholds(ruleset: RuleSet, rule: Rule) -> Iterator[Boundary]:
    """Yield the thresholds of a rule that its outcome can hinge on; a limit that is not published is none."""
    limits = ruleset.limits(*profile_of(ruleset, Example({}, "")))
    for leaf in rule.leaves:
        if isinstance(leaf, Term) and leaf.operator in ORDERED:
            for value, figure in zip(leaf.values, leaf.figures(limits), strict=True):
                if not isnan(figure):
                    yield Boundary(rule, leaf, value, figure)


def _step(fact: Fact, figure: float) -> float:
    exponent = Decimal(f"{figure:.12g}").normalize().as_tuple().exponent
    as_written = 10.0 ** min(int(exponent), 0)
    is_ratio = fact.share or (fact.unit == "1" and "/" in fact.formula)
    return min(as_written, RATIO_STEP if is_ratio else FINEST.get(fact.unit, 1.0))


def _can_be(fact: Fact, value: float) -> bool:
    """Say whether a fact can have a value. What is no difference of others is counted or averaged: it is not negative."""
    is_difference = fact.formula != "recorded" and "−" in fact.formula and not fact.formula.startswith("|")
    low = fact.low if fact.formula == "recorded" or is_difference else 0.0
    return low <= value <= (1.0 if fact.share else fact.high)


def missing_positions(ruleset: RuleSet, threshold: Boundary) -> list[str]:
    """Return the positions around a threshold at which no example hinges on it; each is held against its own profile."""
    seen = set[str]()
    for example in threshold.rule.examples:
        value, figure = encoded(example, ruleset.facts).get(threshold.fact.name, nan), _figure(ruleset, threshold, example)
        is_near = not isnan(figure) and abs(value - figure) <= _step(threshold.fact, figure) + TOLERANCE
        if is_near and hinges(ruleset, threshold, example):
            seen.add(POSITIONS[1 if isclose(value, figure) else 0 if value < figure else 2])
    return [position for position in threshold.values(threshold.figure) if position not in seen]


def _figure(ruleset: RuleSet, threshold: Boundary, example: Example) -> float:
    limits = ruleset.limits(*profile_of(ruleset, example))
    return limits[threshold.value.name] if isinstance(threshold.value, Limit) else threshold.value


def hinges(ruleset: RuleSet, threshold: Boundary, example: Example) -> bool:
    """Say whether an example's outcome is another where the comparison comes out otherwise, all else as given."""
    outcomes = _outcomes(ruleset, threshold, example)
    return outcomes[0] != outcomes[1]


def _outcomes(ruleset: RuleSet, threshold: Boundary, example: Example) -> list[Verdict]:
    return [verdict_on(ruleset, threshold.rule, example, {threshold.term: decided}) for decided in (True, False)]


def verdict_on(ruleset: RuleSet, rule: Rule, example: Example, fixed: Mapping[Term, bool] | None = None) -> Verdict:
    """Return what a rule says of an example, with some of its comparisons fixed."""
    limits = ruleset.limits(*profile_of(ruleset, example))
    facts = {name: None if isnan(value) else value for name, value in encoded(example, ruleset.facts).items()}
    findings: dict[str, Verdict] = {
        leaf.rule: leaf.rule in example.findings for leaf in rule.leaves if isinstance(leaf, Mention)
    }
    findings |= {str(id(term)): decided for term, decided in (fixed or {}).items()}
    condition = _with_fixed(rule.condition, fixed) if fixed else rule.condition
    return verdict(condition, facts, limits, findings)


def _with_fixed(condition: Condition, fixed: Mapping[Term, bool]) -> Condition:
    if isinstance(condition, Group):
        return Group(condition.kind, tuple(map(partial(_with_fixed, fixed=fixed), condition.parts)))
    for term in fixed:
        if condition == term:
            return Mention(str(id(term)))
    return condition


def examples_wanted(ruleset: RuleSet, rule: Rule) -> Iterator[tuple[Boundary, str, Example | None]]:
    """Yield each position around a threshold that no example hinges on, with one that would; None where there is none."""
    grown = rule
    for threshold in thresholds(ruleset, rule):
        for position in missing_positions(ruleset, replace(threshold, rule=grown)):
            example = _example_at(ruleset, threshold, position)
            yield threshold, position, example
            if example is not None:
                grown = replace(grown, examples=(*grown.examples, example))


def without_examples(ruleset: RuleSet) -> Iterator[str]:
    """Yield, for each rule whose examples are judged, the thresholds around which examples are missing, in words."""
    for scope in ruleset.rules:
        for rule in judged_rules(ruleset, scope):
            missing = dict[str, list[str]]()
            for threshold, position, example in examples_wanted(ruleset, rule):
                if example is not None:
                    missing.setdefault(str(threshold), []).append(position)
            if missing:
                told = "; ".join(f"{', '.join(positions)} {threshold}" for threshold, positions in missing.items())
                yield f"{rule.id} has no example {told} (`heartlevel rules examples {rule.id}` shows them)"


def _example_at(ruleset: RuleSet, threshold: Boundary, position: str) -> Example | None:
    """Return the plainest example that hinges on a threshold at a position, made from those that are there."""

    def awkwardness(example: Example) -> tuple[object, ...]:
        is_open = None in _outcomes(ruleset, threshold, example)
        return is_open, example.guideline is not None, len(example.findings), len(example.given)

    candidates = (
        candidate
        for example in threshold.rule.examples
        for candidate in _with_value(
            ruleset.facts, threshold, example, threshold.values(_figure(ruleset, threshold, example)).get(position)
        )
    )
    by_id = {rule.id: rule for rule in ruleset.rules[threshold.rule.scope]}
    fitting = [
        candidate
        for candidate in candidates
        if hinges(ruleset, threshold, candidate) and not findings_otherwise(ruleset, by_id, threshold.rule, candidate)
    ]
    if not fitting:
        return None
    chosen = min(fitting, key=awkwardness)
    return replace(chosen, expect=OUTCOMES[verdict_on(ruleset, threshold.rule, chosen)])


def _with_value(
    catalogue: Mapping[str, Fact], threshold: Boundary, example: Example, value: float | None
) -> Iterator[Example]:
    """Yield an example with another value of a fact, and what is needed so that no others contradict it."""
    if value is None or isnan(value):
        return
    scope, name = threshold.rule.scope, threshold.fact.name
    waiting, tried = [{**example.given, name: _written(threshold.fact, value)}], list[Mapping[str, Any]]()
    while waiting and len(tried) < MOST_TRIED:
        given = waiting.pop(0)
        if given in tried:
            continue
        tried.append(given)
        otherwise = given_otherwise(scope, given, catalogue)
        if not otherwise:
            yield replace(example, given=given)
        for other, (follows, used) in otherwise.items():
            if other != name:
                waiting.append({**given, other: _written(catalogue[other], follows)})
            waiting += [{key: old for key, old in given.items() if key != source} for source in used if source != name]


def _written(fact: Fact, value: float) -> Any:
    """Return a value as it is written in an example."""
    written = fact.decoded(round(value, 6))
    return int(written) if isinstance(written, float) and written.is_integer() else written
