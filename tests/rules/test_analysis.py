"""What the analysis of a rule set tells, each kind of claim by made-up rules."""

from itertools import product
from pathlib import Path

import pytest

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.tools.analysis import analyse
from rules.analysed import said, without_rules, write

HIGH, LOW = {"systolic": {"reads": "high", "range": [1, 2]}}, {"systolic": {"reads": "low", "range": [1, 2]}}


def claims(folder: Path, scope: str = "reading", most: int = 200_000, **conditions):
    write(folder, scope, **conditions)
    return analyse(load(folder), most)


def between(low: float, high: float) -> dict:
    return {"all": [{"systolic": {"above": low}}, {"systolic": {"below": high}}, {"diastolic": {"above": 50}}]}


@pytest.fixture
def folder(tmp_path) -> Path:
    return without_rules(tmp_path)


def test_a_rule_that_never_fires_is_told_with_the_comparisons_that_exclude_each_other(folder):
    (claim,) = claims(folder, a=between(140, 90))
    assert (claim.kind, claim.rule, claim.facts) == ("never-fires", "a", None)
    assert "systolic above 140; systolic below 90" in claim.detail
    assert "diastolic" not in claim.detail
    assert claims(folder, a=between(140, 141)) == []


def test_a_rule_that_never_fires_for_a_rule_it_mentions_is_told_with_that_rule(folder):
    found = claims(folder, a={"systolic": {"above": 140}}, b={"all": [{"finding": "a"}, {"systolic": {"at_most": 140}}]})
    assert said(found) == [("never-fires", "b", None)]
    assert "finding a; systolic at most 140" in found[0].detail


def test_values_that_no_request_can_record_are_not_counted_as_firing(folder):
    low = CATALOGUE["age_years"].low
    assert said(claims(folder, a={"none": [{"age_years": {"at_least": low}}]})) == [("never-fires", "a", None)]
    assert claims(folder, a={"none": [{"age_years": {"at_least": low + 1}}]}) == []


def test_a_limit_that_lies_beyond_all_that_can_be_recorded_is_never_reached(folder):
    highest = f"adults_from_years: {CATALOGUE['age_years'].high:g}"
    for path in (folder / "guidelines").glob("*.yaml"):
        path.write_text(path.read_text().replace("adults_from_years: 18", highest))
    ruleset = load(folder)
    found = claims(folder, a={"age_years": {"above": {"limit": "adults_from_years"}}})
    assert {(one.kind, one.rule) for one in found} == {("never-fires", "a")}
    assert {profile for one in found for profile in one.profiles} == set(product(ruleset.guidelines, ruleset.protocols))


def test_a_rule_that_fires_whatever_is_recorded_is_told(folder):
    known = [{"systolic": {"known": True}}, {"systolic": {"known": False}}]
    (claim,) = claims(folder, a={"any": known})
    assert (claim.kind, claim.rule, claim.facts) == ("always-fires", "a", {})
    assert claims(folder, a={"any": known[:1]}) == []


def test_a_rule_that_fires_on_every_value_a_request_can_record_is_told(folder):
    low = CATALOGUE["systolic"].low
    (claim,) = claims(folder, a={"systolic": {"at_least": low}})
    assert (claim.kind, claim.rule) == ("always-fires", "a")
    assert list(claim.facts) == ["systolic"]
    assert claims(folder, a={"systolic": {"above": low}}) == []


def test_a_rule_implied_by_another_is_told_with_a_round_case_of_both_and_one_of_it_alone(folder):
    (claim,) = claims(folder, a={"systolic": {"at_least": 130}}, b={"systolic": {"at_least": 140}})
    assert (claim.kind, claim.rule, claim.other) == ("implied", "a", "b")
    assert (claim.facts, claim.only_rule) == ({"systolic": 200.0}, {"systolic": 130.0})


def test_an_implication_is_told_the_right_way_round_whichever_rule_comes_first(folder):
    (claim,) = claims(folder, a={"systolic": {"at_least": 140}}, b={"systolic": {"at_least": 130}})
    assert (claim.kind, claim.rule, claim.other) == ("implied", "b", "a")
    assert claim.only_rule == {"systolic": 130.0}


def test_the_case_shown_has_as_few_facts_as_can_be(folder):
    either = {"any": [{"all": [{"systolic": {"above": 140}}, {"diastolic": {"above": 90}}]}, {"talking": {"equals": True}}]}
    (claim,) = claims(folder, a={"any": [{"talking": {"equals": True}}, {"systolic": {"above": 100}}]}, b=either)
    assert (claim.kind, claim.rule, claim.facts) == ("implied", "a", {"talking": True})
    assert claim.only_rule == {"systolic": 200.0}


def test_rules_that_say_the_same_in_other_words_are_told(folder):
    words = {"none": [{"systolic": {"below": 130}}]}
    assert said(claims(folder, a={"systolic": {"at_least": 130}}, b=words)) == [("identical", "a", "b")]
    assert said(claims(folder, a={"systolic": {"at_least": 131}}, b=words)) == [("implied", "b", "a")]


def test_rules_that_differ_only_where_something_is_unknown_are_not_the_same(folder):
    unknown = {"any": [{"systolic": {"at_least": 130}}, {"systolic": {"known": False}}]}
    assert said(claims(folder, a={"systolic": {"at_least": 130}}, b=unknown)) == [("implied", "b", "a")]


def patterned(pattern: str, when: dict) -> dict:
    return {"pattern": pattern, "when": when}


def test_rules_that_fire_together_and_name_different_patterns_are_told(folder):
    name = "home_side_systolic"
    below, above = {name: {"below": 130}}, {name: {"above": 120}}
    (claim,) = claims(folder, "comparison", a=patterned("sustained", above), b=patterned("normal-in-both", below))
    assert (claim.kind, claim.rule, claim.other) == ("contradiction", "a", "b")
    assert 120 < claim.facts[name] < 130
    assert claims(folder, "comparison", a=patterned("sustained", above), b=patterned("sustained", below)) == []
    apart = {name: {"above": 130}}
    assert claims(folder, "comparison", a=patterned("sustained", apart), b=patterned("normal-in-both", below)) == []


def test_rules_that_judge_one_fact_in_opposite_directions_at_once_are_told(folder):
    above, below = {"arm_height_cm": {"above": -10}}, {"arm_height_cm": {"below": 10}}
    (claim,) = claims(folder, a={"when": above, "expected_error": HIGH}, b={"when": below, "expected_error": LOW})
    assert (claim.kind, claim.facts) == ("contradiction", {"arm_height_cm": 0.0})
    assert claim.detail == "systolic reads high by a, low by b"
    assert claims(folder, a={"when": above, "expected_error": HIGH}, b={"when": below, "expected_error": HIGH}) == []


def test_the_same_condition_with_opposite_directions_is_told(folder):
    one, same = {"talking": {"equals": True}}, {"none": [{"talking": {"equals": False}}]}
    found = claims(folder, a={"when": one, "expected_error": HIGH}, b={"when": same, "expected_error": LOW})
    assert [one.kind for one in found] == ["identical", "contradiction"]


def test_opposite_directions_from_the_very_same_comparisons_are_told(folder):
    several = [{"talking": {"equals": True}}, {"rested_minutes": {"below": 5}}]
    every, some = {"all": several}, {"any": several}
    found = claims(folder, a={"when": every, "expected_error": HIGH}, b={"when": some, "expected_error": LOW})
    assert [one.kind for one in found] == ["contradiction", "implied"]


def test_two_errors_that_only_share_where_the_reading_was_taken_do_not_contradict_each_other(folder):
    at_home = {"none": [{"setting": {"equals": "ambulatory"}}]}
    first = {"all": [{"minutes_since_caffeine": {"below": 30}}, at_home]}
    second = {"all": [{"circumstance_after_meal": {"equals": True}}, at_home]}
    assert claims(folder, a={"when": first, "expected_error": HIGH}, b={"when": second, "expected_error": LOW}) == []


def test_a_claim_that_holds_for_some_guidelines_names_these(folder):
    severe = {"all": [{"systolic": {"at_least": {"limit": "severe.systolic"}}}, {"systolic": {"at_most": 170}}]}
    (claim,) = claims(folder, a=severe)
    ruleset = load(folder)
    wanted = {name for name, one in ruleset.guidelines.items() if one.limits["severe.systolic"] > 170}
    assert 0 < len(wanted) < len(ruleset.guidelines)
    assert set(claim.profiles) == set(product(wanted, ruleset.protocols))
    assert "severe.systolic (180)" in claim.detail


def test_a_claim_that_holds_for_limits_of_different_height_is_made_once_for_all_of_them(folder):
    (claim,) = claims(folder, a={"systolic": {"at_least": 130}}, b={"systolic": {"at_least": {"limit": "severe.systolic"}}})
    ruleset = load(folder)
    assert len({one.limits["severe.systolic"] for one in ruleset.guidelines.values()}) > 1
    assert sorted(claim.profiles) == sorted(product(ruleset.guidelines, ruleset.protocols))


def test_what_would_take_too_many_combinations_is_told_and_not_left_out(folder):
    found = claims(folder, a=between(140, 90), most=4)
    assert said(found) == [("not-decided", "a", None)]
    assert "combinations" in found[0].detail
