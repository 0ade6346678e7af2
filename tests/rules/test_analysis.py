"""What the analysis says of small rule sets, each beside a near miss of which it must say nothing, and of random ones."""

import json
import shutil
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.command.rules.analyse import analyse_rules
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.resources import shipped
from heartlevel.ruling.analysis import analyse
from heartlevel.ruling.language import Group, Mention, Term, leaves_of
from heartlevel.ruling.loading import load
from heartlevel.ruling.reference import verdict
from heartlevel.vocabulary import SCOPES
from support import rules, without_worded_rules

HIGH, LOW = {"systolic": {"reads": "high", "range": [1, 2]}}, {"systolic": {"reads": "low", "range": [1, 2]}}


@pytest.fixture
def folder(tmp_path) -> Path:
    """The shipped guidelines, protocols and wording without any rule."""
    copy = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    for scope in SCOPES:
        shutil.rmtree(copy / scope)
    without_worded_rules(copy)
    return copy


def write(folder: Path, scope: str, **conditions) -> None:
    """Write rules a scope, each a condition or a mapping with `when` and more; their examples are of no account here."""
    written = []
    for name, given_ in conditions.items():
        more = given_ if "when" in given_ else {"when": given_}
        examples = [{"given": {}, "expect": "fires"}, {"given": {}, "expect": "silent"}]
        written.append({
            "id": name, "scope": scope, "effect": "none", "severity": "low", "title": name.upper(), "explanation": "None.",
            "advice": "None.", "sources": [{"cite": "none", "standing": "common-practice"}], "examples": examples, **more,
        })  # fmt: skip
    (folder / scope).mkdir(exist_ok=True)
    (folder / scope / "all.yaml").write_text(json.dumps(written))  # JSON is YAML


def claims(folder: Path, scope: str = "reading", most: int = 200_000, **conditions):
    write(folder, scope, **conditions)
    return analyse(load(folder), most)


def said(found) -> list[tuple[str, str, str | None]]:
    return [(one.kind, one.rule, one.other) for one in found]


def between(low: float, high: float) -> dict:
    return {"all": [{"systolic": {"above": low}}, {"systolic": {"below": high}}, {"diastolic": {"above": 50}}]}


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
    ruleset = load(folder)
    assert min(one.limits["severe.systolic"] for one in ruleset.guidelines.values()) > CATALOGUE["age_years"].high
    found = claims(folder, a={"age_years": {"at_least": {"limit": "severe.systolic"}}})
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
    below, above = {"home_systolic": {"below": 130}}, {"home_systolic": {"above": 120}}
    (claim,) = claims(folder, "series", a=patterned("sustained", above), b=patterned("normal-in-both", below))
    assert (claim.kind, claim.rule, claim.other) == ("contradiction", "a", "b")
    assert 120 < claim.facts["home_systolic"] < 130
    assert claims(folder, "series", a=patterned("sustained", above), b=patterned("sustained", below)) == []
    apart = {"home_systolic": {"above": 130}}
    assert claims(folder, "series", a=patterned("sustained", apart), b=patterned("normal-in-both", below)) == []


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


def test_nothing_in_the_shipped_rules_needs_correcting_and_everything_is_decided():
    assert {one.kind for one in analyse(rules().ruleset)} == {"implied"}


def run(folder: Path):
    return CliRunner().invoke(analyse_rules, [str(folder)])


def written_with(folder: Path, **conditions) -> None:
    """Write rules of systolic pressures alone, with examples that hold: 100 is silent, 200 fires."""
    examples = [{"given": {"systolic": 200}, "expect": "fires"}, {"given": {"systolic": 100}, "expect": "silent"}]
    write(folder, "reading", **{name: {"when": when, "examples": examples} for name, when in conditions.items()})


def test_the_command_ends_with_1_for_a_rule_that_cannot_fire_though_its_examples_hold(folder):
    # Examples may take any finding as given, so they do not show that this one never is.
    examples = [{"given": {"systolic": 100}, "findings": ["a"], "expect": "fires"},
                {"given": {"systolic": 100}, "expect": "silent"}]  # fmt: skip
    below = {"when": {"all": [{"finding": "a"}, {"systolic": {"at_most": 140}}]}, "examples": examples}
    above = {"given": {"systolic": 200}, "expect": "fires"}, {"given": {"systolic": 100}, "expect": "silent"}
    write(folder, "reading", a={"when": {"systolic": {"above": 140}}, "examples": list(above)}, b=below)
    result = run(folder)
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert "'B' (b) can never fire" in text
    assert "finding a; systolic at most 140" in text


def test_the_command_ends_with_1_for_rules_that_say_the_same(folder):
    written_with(folder, a={"systolic": {"at_least": 130}}, b={"none": [{"systolic": {"below": 130}}]})
    result = run(folder)
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert "'A' (a) and 'B' (b) say the same" in text
    assert "systolic 200 and nothing else recorded. Holds for every guideline and protocol." in text
    assert "2 rules: 1 to correct, 0 to know of, 0 not decided" in text


def test_the_command_ends_with_0_where_a_rule_is_only_implied(folder):
    written_with(folder, a={"systolic": {"at_least": 130}}, b={"systolic": {"at_least": {"limit": "severe.systolic"}}})
    result = run(folder)
    assert result.exit_code == 0
    text = " ".join(result.output.split())
    assert "Whenever 'B' (b) fires, 'A' (a) fires too." in text
    assert "where only 'A' (a) fires: systolic 130 and nothing else recorded." in text


# --- agreement with the plain reading of the language -------------------------------------------------------------

SHIPPED = rules().ruleset
SYSTOLIC, PULSE_PRESSURE, FLAG = (CATALOGUE[name] for name in ("systolic", "pulse_pressure", "talking"))
# Neighbours so close that only their tolerances part them are among the values.
VALUES = (1.0, 80.0, 80.000000001, 80.1, 120.0, 400.0)
OPERATORS = st.sampled_from(["below", "at_most", "above", "at_least", "equals"])
BOUNDED = st.builds(lambda operator, value: Term(SYSTOLIC, operator, (value,)), OPERATORS, st.sampled_from(VALUES))
FREE = st.builds(lambda ends: Term(PULSE_PRESSURE, "between", tuple(sorted(ends))),
                 st.tuples(st.sampled_from(VALUES), st.sampled_from(VALUES)))  # fmt: skip
FLAGS = st.builds(lambda value: Term(FLAG, "equals", (value,)), st.sampled_from([0.0, 1.0]))
KNOWN = st.builds(lambda fact, value: Term(fact, "known", (value,)), st.sampled_from([SYSTOLIC, PULSE_PRESSURE, FLAG]),
                  st.sampled_from([0.0, 1.0]))  # fmt: skip
BESIDE = sorted({value + step for value in VALUES for step in (-1e-3, -1.5e-9, -5e-10, 0, 5e-10, 1.5e-9, 1e-3)})
GRID = {
    SYSTOLIC.name: [None, *(value for value in BESIDE if SYSTOLIC.low <= value <= SYSTOLIC.high)],
    PULSE_PRESSURE.name: [None, *BESIDE],
    FLAG.name: [None, 0.0, 1.0],
}


def conditions(mentionable):
    leaf = BOUNDED | FREE | FLAGS | KNOWN
    if mentionable:
        leaf |= st.sampled_from([Mention(name) for name in mentionable])
    groups = st.builds(Group, st.sampled_from(["all", "any", "none"]), st.lists(leaf, min_size=1, max_size=3).map(tuple))
    return leaf | groups


def ruleset_of(chain):
    pattern = SHIPPED.rules["reading"][0]
    built = tuple(
        replace(pattern, id=f"rule-{place}", condition=one, leaves=leaves_of(one), written={})
        for place, one in enumerate(chain)
    )
    return replace(SHIPPED, rules={"reading": built})


def terms_below(chain, place) -> set[Term]:
    found: set[Term] = set()
    for leaf in leaves_of(chain[place]):
        found |= terms_below(chain, int(leaf.rule[-1])) if isinstance(leaf, Mention) else {leaf}
    return found


def facts_of(terms) -> set[str]:
    return {term.fact.name for term in terms}


def told_by_brute_force(chain):
    """Say what holds of a chain of rules by the plain reading alone, over all values of the grid."""
    rows = [dict(zip(GRID, values, strict=True)) for values in product(*GRID.values())]
    fires = [read(chain, row) for row in rows]
    for place in range(len(chain)):
        terms = terms_below(chain, place)
        complete = [one[place] for row, one in zip(rows, fires, strict=True) if None not in map(row.get, facts_of(terms))]
        if not any(one[place] for one in fires):
            yield "never-fires", f"rule-{place}", None
        elif all(one[place] for one in fires) or (any(one.operator != "known" for one in terms) and all(complete)):
            yield "always-fires", f"rule-{place}", None
    for first, second in combinations(range(len(chain)), 2):
        pairs = {(one[first], one[second]) for one in fires}
        if not facts_of(terms_below(chain, first)) & facts_of(terms_below(chain, second)) or (True, True) not in pairs:
            continue
        names = f"rule-{first}", f"rule-{second}"
        if (True, False) not in pairs:
            yield ("implied", *names[::-1]) if (False, True) in pairs else ("identical", *names)
        elif (False, True) not in pairs:
            yield ("implied", *names)


def read(chain, row) -> tuple[bool, ...]:
    found: dict[str, bool | None] = {}
    for place, one in enumerate(chain):
        found[f"rule-{place}"] = verdict(one, row, {}, found)
    return tuple(one is True for one in found.values())


CHAIN = st.tuples(conditions([]), conditions(["rule-0"]), conditions(["rule-0", "rule-1"]))


@settings(max_examples=60, deadline=None)
@given(CHAIN)
def test_claims_on_random_rules_are_those_of_the_plain_reading_and_their_cases_show_them(chain):
    found = analyse(ruleset_of(chain))
    assert sorted(said(found), key=str) == sorted(told_by_brute_force(chain), key=str)
    for claim in found:
        first, second = (int((name or claim.rule)[-1]) for name in (claim.rule, claim.other))
        if claim.facts is not None:
            fires = read(chain, coded(claim.facts))
            assert fires[first] and fires[second]
        if claim.kind == "implied":
            fires = read(chain, coded(claim.only_rule))
            assert fires[first] and not fires[second]


def coded(facts) -> dict[str, float]:
    return {name: CATALOGUE[name].encoded(value) for name, value in facts.items()}
