"""Examples whose facts contradict each other: no patient could be like that, so that they prove nothing.

A derived fact is computed by its own formula of the catalogue from the other facts that are given; a finding taken as
firing, or as silent, is held against the facts that its rule compares.
"""

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from math import isnan
from typing import Any, NoReturn

import numpy as np

from heartlevel.columns import TOLERANCE, Floats
from heartlevel.facts.catalogue import DERIVED, Fact
from heartlevel.ruling.language.conditions import Mention, Term
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.language.reference import Verdict, verdict
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.examples import encoded, judged_rules, profile_of

Coded = Mapping[str, float]


class NotDerivable(Exception):
    """A fact is made of more than other facts: of single readings, days or limits."""


class _GivenFacts:
    """Facts of an example in the place of columns of one row; `used` are those that were asked for and given."""

    def __init__(self, scope: str, given: Coded) -> None:
        self._scope, self._given, self.used = scope, given, list[str]()

    def __getitem__(self, name: str) -> Floats:
        if name in self._given:
            self.used.append(name)
            return np.array([self._given[name]])
        derivation = DERIVED.get(self._scope, {}).get(name)
        return np.array([np.nan]) if derivation is None else derivation(self)  # type: ignore[arg-type]

    def __getattr__(self, name: str) -> NoReturn:
        raise NotDerivable


def contradicting_facts(ruleset: RuleSet) -> Iterator[RuleFault]:
    """Yield a fault for each given fact of an example that follows from others given, and is another there.

    Under layers the same examples are looked at as are judged.
    """
    for scope, rules in ruleset.rules.items():
        by_id = {rule.id: rule for rule in rules}
        for rule in judged_rules(ruleset, scope):
            for index in range(len(rule.examples)):
                yield from _derived_otherwise(ruleset, rule, index)
                yield from _decided_otherwise(ruleset, by_id, rule, index)


def given_otherwise(
    scope: str, given: Mapping[str, Any], catalogue: Mapping[str, Fact]
) -> dict[str, tuple[float, tuple[str, ...]]]:
    """Return the given facts that others make another: as they are coded, and which others make them so."""
    derivations, otherwise = DERIVED.get(scope, {}), dict[str, tuple[float, tuple[str, ...]]]()
    following = [name for name, value in given.items() if name in derivations and value is not None]
    coded = {name: catalogue[name].encoded(value) for name, value in given.items()} if following and len(given) > 1 else {}
    for name in following if coded else ():
        others = _GivenFacts(scope, {other: value for other, value in coded.items() if other != name})
        try:
            value = float(derivations[name](others)[0])  # type: ignore[arg-type]
        except NotDerivable:
            continue
        if not isnan(value) and not _is_written_as(given[name], catalogue[name], value):
            otherwise[name] = value, tuple(dict.fromkeys(others.used))
    return otherwise


def _is_written_as(written: object, fact: Fact, value: float) -> bool:
    """Say whether a value is the one that is written, rounded to as many decimals."""
    exponent = Decimal(repr(written)).as_tuple().exponent if isinstance(written, float) else 0
    half = 0.5 * 10.0**exponent if isinstance(exponent, int) and exponent < 0 else 0.0
    return abs(fact.encoded(written) - value) <= half + TOLERANCE


def _derived_otherwise(ruleset: RuleSet, rule: Rule, index: int) -> Iterator[RuleFault]:
    example = rule.examples[index]
    for name, (value, used) in given_otherwise(rule.scope, example.given, ruleset.facts).items():
        others = ", ".join(f"{other} {example.given[other]}" for other in used)
        detail = f"{others} make {name} {ruleset.facts[name].decoded(float(f'{value:.6g}'))}, not {example.given[name]}"
        yield rule.entry.fault(("examples", index, "given", name), "contradicting-facts", detail)


def _decided_otherwise(ruleset: RuleSet, by_id: Mapping[str, Rule], rule: Rule, index: int) -> Iterator[RuleFault]:
    example = rule.examples[index]
    for name, fires in findings_otherwise(ruleset, by_id, rule, example).items():
        compared = {leaf.fact.name for leaf in by_id[name].leaves if isinstance(leaf, Term)}
        given = ", ".join(f"{fact} {value}" for fact, value in example.given.items() if fact in compared)
        detail = f"with {given or 'the findings given'} '{name}' {'fires' if fires else 'does not fire'}"
        hint = f"{'list' if fires else 'do not list'} it under `findings`"
        yield rule.entry.fault(("examples", index), "contradicting-facts", detail, hint)


def findings_otherwise(ruleset: RuleSet, by_id: Mapping[str, Rule], rule: Rule, example: Example) -> dict[str, bool]:
    """Return the rules mentioned that given facts decide otherwise than an example takes them: whether they fire.

    `by_id` has the rules of the scope.
    """
    mentioned = [leaf.rule for leaf in rule.leaves if isinstance(leaf, Mention)]
    if not mentioned:
        return {}
    facts = {name: None if isnan(value) else value for name, value in encoded(example, ruleset.facts).items()}
    limits = ruleset.limits(*profile_of(ruleset, example))
    outcomes = {name: _outcome(by_id, by_id[name], facts, limits, example.findings) for name in mentioned}
    return {
        name: outcome for name, outcome in outcomes.items() if outcome is not None and outcome != (name in example.findings)
    }


def _outcome(
    by_id: Mapping[str, Rule], rule: Rule, facts: Mapping[str, float | None], limits: Mapping[str, float],
    firing: Collection[str],
) -> Verdict:  # fmt: skip
    """Return what facts decide of a rule that an example speaks of; None where it also rests on some not given."""
    findings = dict[str, Verdict]()
    for leaf in rule.leaves:
        if isinstance(leaf, Mention):
            known = leaf.rule in firing
            findings[leaf.rule] = True if known else _outcome(by_id, by_id[leaf.rule], facts, limits, firing)
        elif leaf.operator == "known" and leaf.fact.name not in facts:
            return None
    return verdict(rule.condition, facts, limits, findings)
