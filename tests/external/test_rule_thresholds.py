"""Every number in every rule, just below, at and just above, through the tables that answer requests.

What an operator means is common usage and is typed here once more, to the last digit: below 5 is not 5, at most 5 is.
The condition is read from the rule file's own content, not as the service has understood it.
"""

from functools import cache
from itertools import chain, combinations, pairwise, product
from math import isnan

import numpy as np
import pytest

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.running.truth import FALSE, TRUE
from support import rules

STEP = 0.001  # mmHg, cm, minutes, shares: finer than anything that is recorded
UNKNOWN = None
ORDERED = {
    "below": lambda value, limit: value < limit,
    "at_most": lambda value, limit: value <= limit,
    "above": lambda value, limit: value > limit,
    "at_least": lambda value, limit: value >= limit,
    "between": lambda value, limits: limits[0] <= value <= limits[1],
    "equals": lambda value, wanted: value == wanted,
    "one_of": lambda value, wanted: value in wanted,
}
RULES = {rule.id: rule for rule in rules().ruleset.every_rule()}
GUIDELINES = rules().ruleset.guidelines


def with_parameters(when, own):
    """Return a condition with numbers in the place of parameters: of the rule itself, or of another that is named."""
    if isinstance(when, list):
        return [with_parameters(part, own) for part in when]
    if not isinstance(when, dict):
        return when
    if when.keys() <= {"param", "minus"}:
        ((kind, name),) = when.items()
        other, _, inner = name.rpartition(".")
        value = (RULES[other].written["parameters"] if other else own)[inner]
        return -value if kind == "minus" else value
    return {key: with_parameters(part, own) for key, part in when.items()}


def condition_of(rule):
    return with_parameters(rule.written["when"], rule.written.get("parameters") or {})


def comparisons(when):
    """Yield fact, operator and value of each comparison as it is written."""
    ((key, inner),) = when.items()
    if key in ("all", "any", "none"):
        yield from chain.from_iterable(map(comparisons, inner))
    elif key != "finding":
        ((operator, value),) = inner.items()
        yield key, operator, value


def mentioned(when):
    ((key, inner),) = when.items()
    if key == "finding":
        return {inner}
    return set().union(*map(mentioned, inner)) if key in ("all", "any", "none") else set()


def number(value, limits):
    if isinstance(value, list):
        return [number(one, limits) for one in value]
    return limits[value["limit"]] if isinstance(value, dict) else value


def plainly(when, facts, limits, firing):
    """Whether a condition holds: True, False or None where it cannot be told."""
    ((key, inner),) = when.items()
    if key == "finding":
        return inner in firing
    if key not in ("all", "any", "none"):
        ((operator, value),) = inner.items()
        return compared(facts[key], operator, value, limits)
    parts = [plainly(part, facts, limits, firing) for part in inner]
    if key == "all":
        return False if False in parts else None if None in parts else True
    found = True if True in parts else None if None in parts else False
    return found if key == "any" or found is None else not found


def compared(value, operator, wanted, limits):
    if operator == "known":
        return (value is not UNKNOWN) == wanted
    return UNKNOWN if value is UNKNOWN else ORDERED[operator](value, number(wanted, limits))


def values_of(fact, written, limits):
    """What is tried for a fact: around each number it is compared with, or all that it can be; and unknown."""
    if CATALOGUE[fact].kind != "number":
        return [UNKNOWN, *(CATALOGUE[fact].names or (False, True))]
    numbers = set()
    for operator, value in written:
        if operator != "known":
            numbers |= set(number(value, limits)) if isinstance(value, list) else {number(value, limits)}
    return [UNKNOWN, *sorted({one + step for one in numbers or {50} for step in (-STEP, 0, STEP)})]


def cases(rule, limits):
    """Yield facts, and other rules that fire, in every combination that is tried."""
    when = condition_of(rule)
    written = {}
    for fact, operator, value in comparisons(when):
        written.setdefault(fact, []).append((operator, value))
    tried = [values_of(fact, several, limits) for fact, several in written.items()]
    others = sorted(mentioned(when))
    for firing in chain.from_iterable(combinations(others, size) for size in range(len(others) + 1)):
        for values in product(*tried):
            yield dict(zip(written, values, strict=True)), firing


def judged(rule, facts, firing, guideline):
    coded = {name: CATALOGUE[name].encoded(value) for name, value in facts.items()}
    program = rules().programs[rule.scope]
    profile = program.profiles[guideline.id, guideline.protocol]
    (outcome,) = program.judge_each([rule.id], [coded], np.array([profile]), [firing])
    return {TRUE: True, FALSE: False}.get(outcome)


def profiles_of(rule):
    """A guideline for each set of figures that the rule may meet as named limits."""
    written = (value if isinstance(value, list) else [value] for _, _, value in comparisons(condition_of(rule)))
    names = {value["limit"] for value in chain.from_iterable(written) if isinstance(value, dict)}
    figures = {}
    for one in GUIDELINES.values():
        limits = rules().ruleset.limits(one.id, one.protocol)
        found = tuple(limits[name] for name in sorted(names))
        if not any(map(isnan, found)):  # a limit that the guideline does not publish turns nothing
            figures.setdefault(found, one)
    return figures.values()


@cache
def outcomes(name, guideline_id):
    """The facts tried, the other rules that fire, what the service says, and what the plain reading says."""
    rule, guideline = RULES[name], GUIDELINES[guideline_id]
    limits = rules().ruleset.limits(guideline.id, guideline.protocol)
    return [
        (facts, firing, judged(rule, facts, firing, guideline), plainly(condition_of(rule), facts, limits, firing))
        for facts, firing in cases(rule, limits)
    ]


@pytest.mark.parametrize("name", RULES)
def test_a_rule_turns_at_its_own_numbers_and_nowhere_else(name):
    for guideline in profiles_of(RULES[name]):
        found = outcomes(name, guideline.id)
        assert not [one for one in found if one[2] is not one[3]][:3], guideline.id
        assert {True, False} <= {one[2] for one in found}, guideline.id


def turning_points(found, fact):
    """Pairs of neighbouring values of a fact between which the service's outcome turns, all else being the same."""
    rows = {}
    for facts, firing, outcome, _ in found:
        rest = tuple(sorted((name, str(value)) for name, value in facts.items() if name != fact))
        rows.setdefault((rest, firing), []).append((facts[fact], outcome))
    turns = set()
    for row in rows.values():
        known = sorted(one for one in row if one[0] is not UNKNOWN)
        turns |= {(low, high) for (low, was), (high, then) in pairwise(known) if {was, then} == {True, False}}
    return turns


def wanted_turns(rule, limits):
    """For each number, on which side of it the rule must turn: before it, or after it."""
    for fact, operator, value in comparisons(condition_of(rule)):
        if CATALOGUE[fact].kind != "number" or operator == "known":
            continue
        first, last = number(value, limits) if operator == "between" else [number(value, limits)] * 2
        if operator in ("below", "at_least", "between", "equals"):
            yield fact, (first - STEP, first)
        if operator in ("at_most", "above", "between", "equals"):
            yield fact, (last, last + STEP)


# Where one reading is asked for a sitting, a single one is none too few; every protocol that ships asks for two or three,
# so this comparison of its rule decides nothing beside the other.
NEVER_ALONE = {("single-reading", "sitting_readings", limit) for limit in (2, 3)}


@pytest.mark.parametrize("name", RULES)
def test_each_number_of_a_rule_decides_it_somewhere(name):
    rule = RULES[name]
    for guideline in profiles_of(rule):
        limits = rules().ruleset.limits(guideline.id, guideline.protocol)
        found = outcomes(name, guideline.id)
        missing = [
            (fact, turn)
            for fact, turn in wanted_turns(rule, limits)
            if turn not in turning_points(found, fact) and (name, fact, turn[1]) not in NEVER_ALONE
        ]
        assert not missing, guideline.id
