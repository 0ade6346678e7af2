"""Examples that nobody could be like are refused at their place, with what the other facts make."""

from pathlib import Path

import pytest

from heartlevel import RuleFaults, Rules
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.running.contradictions import contradicting_facts
from rules.laid import layer
from support import rules

RULE = """
- id: wide-here
  scope: {scope}
  when: {when}
  effect: none
  severity: low
  title: Ours
  explanation: Ours.
  advice: None.
  sources: [{{cite: "Common practice", standing: common-practice}}]
  examples:
    - {{given: {given}, {more}expect: fires}}
    - {{given: {silent}, expect: silent}}
"""
PRESSURE = ("{pulse_pressure: {at_least: 100}}", "{pulse_pressure: 90}")
CUFF = ("{cuff_width_to_arm: {below: 0.37}}", "{cuff_width_to_arm: 0.4}")
# The scope, the condition and its silent example, the facts that contradict each other, and what is told of them.
WRONG = {
    "a pulse pressure": ("reading", *PRESSURE, "{systolic: 120, diastolic: 80, pulse_pressure: 150}", "",
                         "systolic 120, diastolic 80 make pulse_pressure 40.0, not 150"),
    "a cuff": ("reading", *CUFF, "{cuff_bladder_width_cm: 16, arm_circumference_cm: 32, cuff_width_to_arm: 0.3}", "",
               "cuff_bladder_width_cm 16, arm_circumference_cm 32 make cuff_width_to_arm 0.5, not 0.3"),
    "what follows by two steps": (
        "reading", "{mean_arterial: {above: 110}}", "{mean_arterial: 100}",
        "{systolic: 120, diastolic: 80, mean_arterial: 120}", "", "make mean_arterial 93.3333, not 120"),
    "a choice": ("reading", "{side: {equals: right}}", "{side: left}", "{site: left-upper-arm, side: right}", "",
                 "site left-upper-arm make side left, not right"),
    "a flag": ("reading", "{free_day: {equals: true}}", "{free_day: false}", "{free_day: true, work_day: true}", "",
               "work_day True make free_day False, not True"),
    "an average's difference": (
        "series", "{office_minus_home_systolic: {above: 40}}", "{office_minus_home_systolic: 3}",
        "{home_systolic: 130, office_systolic: 150, office_minus_home_systolic: 41}", "", "20.0, not 41"),
    "an age and what is taken from it": (
        "series", "{all: [{finding: under-eighteen}, {home_systolic: {above: 140}}]}", "{home_systolic: 130}",
        "{age_years: 50, home_systolic: 150}", "findings: [under-eighteen], ", "'under-eighteen' does not fire"),
    "an age and what is not taken from it": (
        "series", "{all: [{none: [{finding: under-eighteen}]}, {home_systolic: {above: 140}}]}", "{home_systolic: 130}",
        "{age_years: 15, home_systolic: 150}", "", "with age_years 15 'under-eighteen' fires"),
}  # fmt: skip


def laid(tmp_path: Path, scope: str, when: str, silent: str, given: str, more: str) -> Path:
    folder = layer(tmp_path)
    (folder / scope).mkdir(exist_ok=True)
    text = RULE.format(scope=scope, when=when, silent=silent, given=given, more=more)
    (folder / scope / "ours.yaml").write_text(text)
    return folder


@pytest.mark.parametrize("wrong", WRONG)
def test_facts_that_contradict_each_other_are_told_with_what_follows(wrong, tmp_path):
    *rule, words = WRONG[wrong]
    (fault,) = contradicting_facts(load(None, [laid(tmp_path, *rule)]))
    assert fault.code == "contradicting-facts"
    assert words in fault.detail
    assert (fault.file, fault.line) == (f"clinic/{rule[0]}/ours.yaml", 12)


@pytest.mark.parametrize(
    ("scope", "when", "silent", "given"),
    [
        ("reading", *PRESSURE, "{systolic: 190, diastolic: 80, pulse_pressure: 110}"),
        ("reading", *PRESSURE, "{systolic: 190, pulse_pressure: 150}"),
        ("reading", *CUFF, "{cuff_bladder_width_cm: 12, arm_circumference_cm: 35, cuff_width_to_arm: 0.34}"),
        ("reading", *CUFF, "{cuff_bladder_width_cm: 12, arm_circumference_cm: null, cuff_width_to_arm: 0.3}"),
        # How many days there are is no matter of other facts alone.
        ("series", "{home_days: {below: 3}}", "{home_days: 3}", "{home_days: 2, home_mornings: 2}"),
    ],
)
def test_facts_that_agree_as_they_are_rounded_and_what_other_facts_do_not_decide_pass(tmp_path, scope, when, silent, given):
    assert list(contradicting_facts(load(None, [laid(tmp_path, scope, when, silent, given, "")]))) == []


def test_a_layer_with_such_an_example_is_refused_and_no_shipped_rule_has_one(tmp_path):
    *rule, words = WRONG["a pulse pressure"]
    with pytest.raises(RuleFaults, match=words):
        Rules.load(None, [laid(tmp_path, *rule)])
    assert list(contradicting_facts(rules().ruleset)) == []
