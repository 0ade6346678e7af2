"""Why a rule fired: trees that agree with the compiled rules, and changes that silence and are the smallest."""

import json
import re
from dataclasses import replace
from itertools import product
from math import isnan, nextafter

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from heartlevel.answer import findings, reasons
from heartlevel.answer.contract.whole import Answer
from heartlevel.answer.reasons import reason_of, silencing
from heartlevel.answer.whole import as_json
from heartlevel.assessment import assess
from heartlevel.columns import TOLERANCE
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.request import read
from heartlevel.ruling.explaining import OUTCOMES, Row, outline, tree
from heartlevel.ruling.language import Group, Limit, Mention, Term, leaves_of
from heartlevel.ruling.reference import verdict
from heartlevel.ruling.verdicts import Program
from support import answer, demo, demo_answers, reading, rules

CODES = {0: "false", 1: "true", 2: "unknown"}
RULESET = rules().ruleset
SYSTOLIC, OFFSET, AGE = (CATALOGUE[name] for name in ("systolic", "hydrostatic_offset_mmhg", "age_years"))
TALKING, LEVEL, TREATED = (CATALOGUE[name] for name in ("talking", "arm_level", "on_treatment"))
RESTED = CATALOGUE["rested_minutes"]
LIMITS = {"made.up": 6.0}
# Here any change there is would bring a finding as grave, or there is nothing better than what is.
NOTHING_BETTER = {"impossible-value", "normal-in-both", "pressures-equal", "pressures-swapped", "systolic-digit-missing",
                  "wrist-device"}  # fmt: skip


def nodes(top: dict):
    yield top
    for part in top.get("parts", ()):
        yield from nodes(part)


def assessed():
    return assess([read(payload, RULESET.choices) for payload in demo()], rules())


def owners(assessment, scope):
    batch = assessment.batch
    return {"reading": batch.subject_of, "sitting": batch.subject_of_sitting, "device": assessment.checks.subject_of,
            "series": np.arange(len(batch.requests))}[scope]  # fmt: skip


def reasons_in_the_demo():
    """Yield every rule with every row of the demo, the compiled outcomes there, and the reason."""
    whole = assessed()
    for scope, verdicts in whole.verdicts.items():
        owner = owners(whole, scope)
        for row in range(0, len(owner), 7 if scope == "reading" else 1):
            found = dict(zip([rule.id for rule in verdicts.rules], verdicts.outcomes[:, row].tolist(), strict=True))
            for rule in verdicts.rules:
                yield rule, row, found, reason_of(whole, rule, row, owner[row]), whole


def full(payload: dict) -> dict:
    return answer({**payload, "options": {**payload.get("options", {}), "explain": "full"}})


def test_every_tree_over_the_demo_has_the_compiled_outcome_at_its_root_and_at_every_finding_in_it():
    seen = set()
    for rule, _, found, reason, _ in reasons_in_the_demo():
        assert reason["condition"]["outcome"] == CODES[found[rule.id]], rule.id
        for node in nodes(reason["condition"]):
            if node["kind"] == "finding":
                assert node["outcome"] == CODES[found[node["rule"]]]
        seen.add(found[rule.id])
    assert seen == {0, 1, 2}


def combined(node: dict) -> str:
    """Say what a node's parts come to, written anew: unknown is neither true nor false."""
    parts = [part["outcome"] for part in node["parts"]]
    if node["kind"] in ("finding", "all"):
        return "false" if "false" in parts else "unknown" if "unknown" in parts else "true"
    some = "true" if "true" in parts else "unknown" if "unknown" in parts else "false"
    return some if node["kind"] == "any" else {"true": "false", "false": "true"}.get(some, some)


def test_every_node_follows_from_its_parts():
    inner = [node for _, _, _, reason, _ in reasons_in_the_demo() for node in nodes(reason["condition"]) if "parts" in node]
    assert {node["kind"] for node in inner} == {"all", "any", "none", "finding"}
    for node in inner:
        assert node["outcome"] == combined(node)


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
            given_columns = {name: np.array([value]) for name, value in changed.items()}
            judged = program.judge(given_columns.__getitem__, np.array([program.profiles[guideline, protocol]]))
            assert dict(zip(found, judged.outcomes[:, 0].tolist(), strict=True))[rule.id] != 1, (rule.id, changed)
            silenced += 1
    assert silenced > 100
    assert without <= NOTHING_BETTER


def satisfying(change: dict) -> list[float]:
    """Return values that a change allows, its bounds as the language reads them, and farther ones."""
    fact, to = CATALOGUE[change["fact"]], change["to"]
    if to == {"known": True}:
        return [0.0] if fact.kind != "number" else [max(fact.low, 0.0), 50.0]
    if "one_of" in to or fact.kind != "number":
        return [fact.encoded(one) for one in to.get("one_of", [to.get("equals")])]
    near = [one for value in to.values() for one in beside(value)]
    return [one for one in near if all(verdict(Term(fact, name, (value,)), {fact.name: one}, {}, {})
                                       for name, value in to.items())]  # fmt: skip


def beside(value: float) -> list[float]:
    edges = [value, nextafter(value - TOLERANCE, -np.inf), nextafter(value + TOLERANCE, np.inf)]
    return [*edges, value - TOLERANCE / 2, value + TOLERANCE / 2, value - 0.5, value + 0.5]


BOUNDS = st.sampled_from([1.0, 2.0, 5.0, 8.0])
NUMBERS = st.sampled_from([SYSTOLIC, OFFSET, AGE])
TERMS = st.one_of(
    st.builds(lambda fact, operator, value: Term(fact, operator, (value,)), NUMBERS,
              st.sampled_from(["below", "at_most", "above", "at_least", "equals"]), BOUNDS | st.just(Limit("made.up"))),
    st.builds(lambda fact, pair: Term(fact, "between", tuple(sorted(pair))), NUMBERS, st.tuples(BOUNDS, BOUNDS)),
    st.builds(lambda fact, value: Term(fact, "known", (value,)), st.sampled_from([OFFSET, TALKING]),
              st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(TALKING, "equals", (value,)), st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(LEVEL, "equals", (value,)), st.sampled_from([0.0, 1.0, 2.0])),
)  # fmt: skip
ROWS = st.fixed_dictionaries(
    {
        **{fact.name: st.none() | st.sampled_from([1.0, 1 + 1e-12, 2.0, 3.5, 5.0, 6.0, 9.0]) for fact in (SYSTOLIC, AGE)},
        OFFSET.name: st.none() | st.sampled_from([-4.0, 0.0, 2.0, 5.0 + 1e-7, 7.0]),
        TALKING.name: st.sampled_from([None, 0.0, 1.0]),
        LEVEL.name: st.sampled_from([None, 0.0, 1.0, 2.0]),
    }
)


def conditions(*mentionable: str):
    leaf = st.one_of(TERMS, *(st.just(Mention(name)) for name in mentionable))
    group = st.sampled_from(["all", "any", "none"])
    deep = st.recursive(leaf, lambda inner: st.builds(Group, group, st.lists(inner, min_size=1, max_size=3).map(tuple)),
                        max_leaves=5)  # fmt: skip
    return deep.filter(lambda one: len(leaves_of(one)) <= 5)


CHAINS = st.tuples(conditions(), conditions("rule-0"))


def made(chain) -> dict:
    """Make rules of a chain of conditions; the second may mention the first."""
    pattern = RULESET.rules["reading"][0]
    built = (replace(pattern, id=f"rule-{place}", condition=one, leaves=leaves_of(one)) for place, one in enumerate(chain))
    return {rule.id: rule for rule in built}


def outcomes(chain, facts: dict) -> dict:
    found: dict = {}
    for place, condition in enumerate(chain):
        found[f"rule-{place}"] = verdict(condition, facts, LIMITS, found)
    return found


@settings(max_examples=60, deadline=None)
@given(CHAINS, st.lists(ROWS, min_size=1, max_size=8))
def test_trees_have_the_compiled_outcome_whatever_the_condition(chain, several):
    made_rules = made(chain)
    guideline = replace(RULESET.guidelines["esc-2024"], limits=LIMITS)
    ruleset = replace(RULESET, guidelines={"esc-2024": guideline}, default_guideline="esc-2024",
                      rules={**{scope: () for scope in RULESET.rules}, "reading": tuple(made_rules.values())})  # fmt: skip
    program = Program(ruleset, "reading")
    columns = {name: np.array([row[name] for row in several], dtype=np.float64) for name in several[0]}
    compiled = program.judge(columns.__getitem__, np.zeros(len(several), dtype=np.int64)).outcomes
    for place, facts in enumerate(several):
        for rule, code in zip(made_rules.values(), compiled[:, place].tolist(), strict=True):
            top = tree(rule.condition, Row(facts, LIMITS, made_rules), outcomes(chain, facts))
            assert top["outcome"] == CODES[code]
            assert all(node["outcome"] == combined(node) for node in nodes(top) if "parts" in node)


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
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
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


def test_whether_something_is_known_is_asked_as_true_or_false():
    assert outline(Term(OFFSET, "known", (0.0,)), {}, {})["expected"] is False


def test_a_value_that_cannot_be_recorded_is_never_proposed():
    assert changed_by(Term(SYSTOLIC, "at_most", (400.0,)), systolic=120.0) == []


def test_a_search_that_takes_too_long_says_so(monkeypatch):
    monkeypatch.setattr(reasons, "MOST_STEPS", 2)
    assert silencing(Group("all", (Term(SYSTOLIC, "above", (1.0,)),)), Row({"systolic": 5.0}, {}, {})) is None


@pytest.mark.parametrize(
    ("term", "value", "sentence"),
    [(Term(CATALOGUE["arm_height_cm"], "below", (-2.0,)), -12.0, "arm_height_cm is -12 cm, which is below -2 cm"),
     (Term(CATALOGUE["arm_height_cm"], "below", (-2.0,)), 3.0, "arm_height_cm is 3 cm, which is not below -2 cm"),
     (Term(RESTED, "below", (5.0,)), None, "rested_minutes was not recorded"),
     (Term(RESTED, "known", (0.0,)), None, "rested_minutes was not recorded"),
     (Term(RESTED, "known", (0.0,)), 4.0, "rested_minutes was recorded: 4 min"),
     (Term(OFFSET, "above", (5.0,)), None, "hydrostatic_offset_mmhg is not known"),
     (Term(OFFSET, "above", (5.0,)), 5.0000004, "hydrostatic_offset_mmhg is 5.0000004 mmHg, which is above 5 mmHg"),
     (Term(OFFSET, "above", (5.0,)), 5.00001234567, "hydrostatic_offset_mmhg is 5.000012 mmHg, which is above 5 mmHg"),
     (Term(OFFSET, "above", (5.0,)), 10.91634, "hydrostatic_offset_mmhg is 10.916 mmHg, which is above 5 mmHg"),
     (Term(SYSTOLIC, "at_least", (Limit("severe.systolic"),)), 188.0,
      "systolic is 188 mmHg, which is at least 180 mmHg (limit severe.systolic)"),
     (Term(CATALOGUE["cuff_width_to_arm"], "between", (0.37, 0.5)), 0.4,
      "cuff_width_to_arm is 0.4, which is between 0.37 and 0.5"),
     (Term(AGE, "equals", (1.0,)), 3.0, "age_years is 3 years, not 1 year"),
     (Term(TALKING, "equals", (1.0,)), 1.0, "talking is yes"),
     (Term(TALKING, "equals", (1.0,)), 0.0, "talking is no, not yes"),
     (Term(LEVEL, "equals", (0.0,)), 2.0, "arm_level is above, not below")],
)  # fmt: skip
def test_a_comparison_is_said_in_plain_words(term, value, sentence):
    limits = RULESET.limits("acc-aha-2025", "aha-ama-2020")
    assert tree(term, Row({term.fact.name: value}, limits, {}), {})["text"] == sentence


RAW = re.compile(r"[\[\]{}<>]|\('|Term|Limit\(|\bnan\b|None|True|False|\d{8}")


def test_every_shipped_rule_can_be_outlined_in_words_without_traces_of_the_program():
    limits = RULESET.limits("acc-aha-2025", "aha-ama-2020")
    texts = []
    for scope, several in RULESET.rules.items():
        by_id = {rule.id: rule for rule in several}
        for rule in several:
            found = [node for node in nodes(outline(rule.condition, limits, by_id)) if node["kind"] == "comparison"]
            assert found, (scope, rule.id)
            texts += [node["text"] for node in found]
    explained = [reason for _, _, _, reason, _ in reasons_in_the_demo()]
    texts += [node["text"] for reason in explained for node in nodes(reason["condition"]) if "text" in node]
    texts += [change["text"] for reason in explained for change in reason["silenced_by"]]
    assert [text for text in texts if RAW.search(text)] == []


def test_full_answers_are_the_brief_ones_with_a_reason_in_each_finding():
    for payload, brief in zip(demo(), demo_answers(), strict=True):
        explained = full(payload)
        assert Answer().validate(explained) == {}
        assert all(finding.pop("reason")["condition"]["outcome"] == OUTCOMES[True] for finding in explained["findings"])
        assert as_json(explained) == as_json(brief)


@pytest.mark.parametrize("options", [{}, {"explain": "brief"}, {"explain": None}])
def test_brief_answers_cost_no_explanation(monkeypatch, options):
    def never(*_):
        raise AssertionError

    monkeypatch.setattr(findings, "reason_of", never)
    payload = {"subject": {"id": "s-1"}, "options": options,
               "readings": [reading("2026-03-02T07:10:00+01:00", 190, 100)]}  # fmt: skip
    brief = answer(payload)
    assert brief["findings"]
    assert all("reason" not in finding for finding in brief["findings"])
    with pytest.raises(AssertionError):
        full(payload)


def test_a_finding_says_its_value_its_limit_and_what_would_silence_it():
    taken = reading("2026-03-02T07:10:00+01:00", 190, 100)
    explained = full({"subject": {"id": "s-1"}, "readings": [taken]})
    (found,) = [one for one in explained["findings"] if one["rule"] == "very-high"]
    (leaf,) = [one for one in nodes(found["reason"]["condition"]) if one.get("operator") == "at_least" and
               one["fact"] == "systolic"]  # fmt: skip
    assert leaf == {
        "kind": "comparison", "fact": "systolic", "meaning": "systolic pressure", "unit": "mm[Hg]",
        "operator": "at_least", "expected": {"limit": "severe.systolic", "value": 180.0}, "outcome": "true",
        "value": 190.0, "text": "systolic is 190 mmHg, which is at least 180 mmHg (limit severe.systolic)",
    }  # fmt: skip
    assert found["reason"]["silenced_by"] == [
        {"fact": "systolic", "unit": "mm[Hg]", "from": 190.0, "to": {"below": 180.0},
         "text": "systolic: below 180 mmHg instead of 190 mmHg"},
    ]  # fmt: skip


def test_a_derived_fact_is_changed_itself_and_comes_with_its_formula():
    taken = reading("2026-03-02T07:10:00+01:00", 130, 80, technique={"arm_height_cm": -12})
    found = {one["rule"]: one["reason"] for one in full({"subject": {"id": "s-1"}, "readings": [taken]})["findings"]}
    (change,) = found["cuff-below-heart"]["silenced_by"]
    assert (change["fact"], change["from"], change["to"]) == ("hydrostatic_offset_mmhg", 9.356, {"at_most": 5.0})
    assert change["formula"] == OFFSET.formula


def test_a_reason_holds_no_number_that_json_cannot_write():
    whole = json.loads(as_json(full(demo()[0])), parse_constant=lambda name: pytest.fail(name))
    values = [node["value"] for one in whole["findings"] for node in nodes(one["reason"]["condition"]) if "value" in node]
    assert values
    assert not any(isinstance(value, float) and isnan(value) for value in values)
