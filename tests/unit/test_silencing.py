"""Changes that would silence a rule: they do, they are the smallest, and some are never proposed."""

from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from heartlevel.conclusions.silencing import search
from heartlevel.conclusions.silencing.search import silencing
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language.conditions import Group, Limit, Term, leaves_of
from heartlevel.ruling.language.explaining import Row
from support import examples, rules
from unit.told import (
    AGE,
    CHAINS,
    LEVEL,
    LIMITS,
    OFFSET,
    RESTED,
    ROWS,
    RULESET,
    SYSTOLIC,
    TALKING,
    TREATED,
    beside,
    made,
    outcomes,
    owners,
    reasons_in_the_demo,
    satisfying,
)

# Here any change there is would bring a finding as grave, or there is nothing better than what is.
NOTHING_BETTER = {"impossible-value", "low", "low-in-office", "normal-in-both", "pregnancy-limits-used", "pressures-equal",
                  "pressures-swapped", "systolic-digit-missing", "wrist-device"}  # fmt: skip


def test_every_change_over_the_demo_silences_its_rule_when_the_row_is_judged_again():
    silenced, without = 0, set()
    for rule, row, found, reason, whole in reasons_in_the_demo():
        if found[rule.id] != 1:
            assert reason["silenced_by"] == []
            continue
        if not reason["silenced_by"]:
            without.add(rule.id)
            continue
        subject = int(owners(whole, rule.scope)[row])
        guideline, protocol = whole.guidelines[subject].id, whole.protocols[subject].id
        program, columns = rules().programs[rule.scope], whole.facts[rule.scope]
        as_it_was = {name: float(columns[name][row]) for name in program.facts}
        for values in product(*(satisfying(change) for change in reason["silenced_by"])):
            changed = as_it_was | dict(zip([one["fact"] for one in reason["silenced_by"]], values, strict=True))
            given_columns = {name: np.array([float(value)]) for name, value in changed.items()}
            judged = program.judge(given_columns.__getitem__, np.array([program.profiles[guideline, protocol]]))
            assert dict(zip(found, judged.outcomes[:, 0].tolist(), strict=True))[rule.id] != 1, (rule.id, changed)
            silenced += 1
    assert silenced > 100
    assert without <= NOTHING_BETTER


def cost(before: dict, after: dict) -> tuple[int, int, float]:
    changed = [name for name in before if before[name] != after[name]]
    return sum(CATALOGUE[name].scope == "subject" for name in changed), len(changed), sum(
        2.0 if before[name] is None or CATALOGUE[name].kind != "number"
        else abs(after[name] - before[name]) / (abs(after[name]) + abs(before[name]))
        for name in changed
    )  # fmt: skip


def reachable(name: str, now: float | None) -> list[float | None]:
    """Return the value a fact has and every other that could matter; never back to unknown."""
    fact = CATALOGUE[name]
    if fact.kind != "number":
        return list(dict.fromkeys([now, *map(float, range(2 if fact.kind == "flag" else 3))]))
    edges = [one for value in (1.0, 2.0, 5.0, 6.0, 8.0) for one in beside(value)[:3]]
    return [now, *(one for one in edges if fact.low <= one <= fact.high and one != now)]


# Most made-up rules do not fire on most made-up facts; those that do are what is wanted.
@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(CHAINS, ROWS)
def test_the_change_silences_with_any_value_it_allows_and_no_smaller_one_does(chain, facts):
    def fires(row):
        return outcomes(chain, row)["rule-1"] is True

    assume(fires(facts))
    found = silencing(chain[1], Row(facts, LIMITS, made(chain)))
    assert found is not None
    applied = [facts | dict(zip([one["fact"] for one in found], values, strict=True))
               for values in product(*map(satisfying, found))]  # fmt: skip
    assert not found or not any(map(fires, applied))
    used = {name for name in facts if any(leaf.fact.name == name for one in chain for leaf in leaves_of(one)
                                          if isinstance(leaf, Term))}  # fmt: skip
    best = min((cost(facts, row) for row in every_row(facts, used) if not fires(row)), default=None)
    assert (best is None) == (found == [])
    if best is not None:
        assert min(cost(facts, row) for row in applied) == pytest.approx(best, abs=1e-6)


def every_row(facts: dict, used: set[str]):
    choices = {name: reachable(name, value) if name in used else [value] for name, value in facts.items()}
    return (dict(zip(choices, values, strict=True)) for values in product(*choices.values()))


def changed_by(condition, **facts) -> list[tuple]:
    row = Row(facts, {**RULESET.limits("acc-aha-2025", "aha-ama-2020")}, {})
    return [(one["fact"], one["from"], one["to"]) for one in silencing(condition, row)]


def test_taking_medicine_is_never_proposed_as_a_change():
    treated, high = Term(TREATED, "equals", (1.0,)), Term(SYSTOLIC, "above", (140.0,))
    assert changed_by(treated, on_treatment=1.0) == []
    assert changed_by(Group("all", (treated, high)), on_treatment=1.0, systolic=150.0) == [
        ("systolic", 150.0, {"at_most": 140.0})
    ]


def test_nothing_is_proposed_to_become_unknown_but_what_is_unknown_may_be_recorded():
    unmeasured = Group("all", (Term(LEVEL, "equals", (0.0,)), Term(OFFSET, "known", (0.0,))))
    assert changed_by(Term(OFFSET, "known", (1.0,)), hydrostatic_offset_mmhg=3.0) == []
    assert changed_by(Term(OFFSET, "known", (0.0,)), hydrostatic_offset_mmhg=None) == [
        ("hydrostatic_offset_mmhg", None, {"known": True})
    ]
    assert changed_by(unmeasured, arm_level=0.0, hydrostatic_offset_mmhg=None) == [
        ("arm_level", "below", {"one_of": ["heart", "above"]})
    ]


def test_what_the_person_is_changes_only_where_nothing_else_helps():
    adult, high = Term(AGE, "at_least", (18.0,)), Term(SYSTOLIC, "at_least", (Limit("severe.systolic"),))
    other = Term(RESTED, "below", (5.0,))
    several = Group("all", (adult, Group("any", (high, other))))
    assert changed_by(several, age_years=18.5, systolic=190.0, rested_minutes=1.0) == [
        ("systolic", 190.0, {"below": 180.0}), ("rested_minutes", 1.0, {"at_least": 5.0}),
    ]  # fmt: skip
    assert changed_by(adult, age_years=58.0) == [("age_years", 58.0, {"below": 18.0})]


def test_a_range_left_on_its_nearer_side_is_bounded_where_the_rule_would_fire_again():
    near = Group("any", (Term(OFFSET, "between", (2.0, 5.0)), Term(OFFSET, "between", (-5.0, -2.0))))
    assert changed_by(near, hydrostatic_offset_mmhg=3.0) == [
        ("hydrostatic_offset_mmhg", 3.0, {"above": -2.0, "below": 2.0})
    ]
    assert changed_by(near, hydrostatic_offset_mmhg=4.5) == [("hydrostatic_offset_mmhg", 4.5, {"above": 5.0})]


def test_bounds_that_make_no_difference_are_left_out():
    talks = Term(TALKING, "equals", (1.0,))
    high = Group("all", (Term(SYSTOLIC, "at_least", (160.0,)), Group("any", (Term(SYSTOLIC, "at_least", (140.0,)), talks))))
    low = Group("all", (Term(SYSTOLIC, "at_most", (160.0,)), Group("any", (Term(SYSTOLIC, "at_most", (170.0,)), talks))))
    assert changed_by(high, systolic=165.0) == [("systolic", 165.0, {"below": 160.0})]
    assert changed_by(low, systolic=155.0) == [("systolic", 155.0, {"above": 160.0})]
    assert changed_by(Group("none", (Term(RESTED, "equals", (5.0,)),)), rested_minutes=3.0) == [
        ("rested_minutes", 3.0, {"equals": 5.0})
    ]


def test_one_fact_wholly_changed_is_less_than_two_facts_changed_a_little():
    either = Group("any", (Term(SYSTOLIC, "at_least", (180.0,)), Term(RESTED, "below", (5.0,))))
    both = Group("all", (either, Term(TALKING, "equals", (1.0,))))
    assert changed_by(both, systolic=180.5, rested_minutes=4.9, talking=1.0) == [("talking", True, {"equals": False})]


def test_a_value_that_cannot_be_recorded_is_never_proposed():
    assert changed_by(Term(SYSTOLIC, "at_most", (400.0,)), systolic=120.0) == []


def test_a_search_that_takes_too_long_says_so(monkeypatch):
    monkeypatch.setattr(search, "MOST_STEPS", 2)
    assert silencing(Group("all", (Term(SYSTOLIC, "above", (1.0,)),)), Row({"systolic": 5.0}, {}, {})) is None
