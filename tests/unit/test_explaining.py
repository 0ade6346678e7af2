"""Why a rule fired: trees that agree with the compiled rules, in words without traces of the program."""

import json
import re
from dataclasses import replace
from math import isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contract.whole import AnswerSchema
from heartlevel.answer import findings
from heartlevel.answer.whole import as_json
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language.conditions import Limit, Term
from heartlevel.ruling.language.explaining import OUTCOMES, Row, outline, tree
from heartlevel.ruling.running.verdicts import Program
from support import answer, demo, demo_answers, examples, reading
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
    full,
    made,
    outcomes,
    reasons_in_the_demo,
)

CODES = {0: "false", 1: "true", 2: "unknown"}


def nodes(top: dict):
    yield top
    for part in top.get("parts", ()):
        yield from nodes(part)


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


@settings(max_examples=examples(60), deadline=None)
@given(CHAINS, st.lists(ROWS, min_size=1, max_size=8))
def test_trees_have_the_compiled_outcome_whatever_the_condition(chain, several):
    made_rules = made(chain)
    guideline = replace(RULESET.guidelines["esc-2024"], limits=LIMITS)
    ruleset = replace(RULESET, guidelines={"esc-2024": guideline}, default_guideline="esc-2024",
                      rules={**dict.fromkeys(RULESET.rules, ()), "reading": tuple(made_rules.values())})  # fmt: skip
    program = Program(ruleset, "reading")
    columns = {name: np.array([row[name] for row in several], dtype=np.float64) for name in several[0]}
    compiled = program.judge(columns.__getitem__, np.zeros(len(several), dtype=np.int64)).outcomes
    for place, facts in enumerate(several):
        for rule, code in zip(made_rules.values(), compiled[:, place].tolist(), strict=True):
            top = tree(rule.condition, Row(facts, LIMITS, made_rules), outcomes(chain, facts))
            assert top["outcome"] == CODES[code]
            assert all(node["outcome"] == combined(node) for node in nodes(top) if "parts" in node)


def test_whether_something_is_known_is_asked_as_true_or_false():
    assert outline(Term(OFFSET, "known", (0.0,)), {}, {})["expected"] is False


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
        assert AnswerSchema().validate(explained) == {}
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
