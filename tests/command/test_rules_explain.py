"""`heartlevel rules explain`: what a rule asks for, and why it fires or not for the subjects of a file."""

import json
import re

import pytest
from click.testing import CliRunner

from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.rules import explain as command
from support import demo, demo_answers, reading, rules, rules_fired, week

EVERY = [rule.id for rule in rules().ruleset.every_rule()]
RAW = re.compile(r"\[|\]|\{|\}|<|\('|Limit\(|Term\(|None|True|False|\bnan\b|object at")

CUFF_LEVEL = """\
cuff-level-below-heart: Cuff below heart level, height not measured
asked of each reading; effect doubtful, severity moderate

Fires where (limits of acc-aha-2025, protocol aha-ama-2020)
  all of these:
    arm_level is below
    arm_height_cm was not recorded

Expected error
  systolic: reads high, 3.7 to 23 mmHg
  diastolic: reads high, 2.8 to 12 mmHg

Depends on
  arm_level (below, heart, above): level of the cuff, for who has no ruler
  arm_height_cm (cm): middle of the cuff relative to the heart; above is positive

Sources
  Kallioinen et al., J Hypertens 2017;35:421 (published)
"""
PREGNANCY = """\
severe-in-pregnancy: Severe reading in pregnancy
asked of each reading; effect none, severity high, urgent

Fires where (limits of acc-aha-2025, protocol aha-ama-2020)
  all of these:
    pregnant is yes
    at least one of these:
      systolic is at least 180 mmHg (limit severe.systolic)
      diastolic is at least 120 mmHg (limit severe.diastolic)
    systolic is at most 300 mmHg
    pulse_pressure is above 0 mmHg

Depends on
  pregnant: pregnant at the time of the readings
  systolic (mmHg): systolic pressure
  diastolic (mmHg): diastolic pressure
  pulse_pressure (mmHg): Pulse pressure = systolic − diastolic

Sources
  ISSHP 2021, severe hypertension in pregnancy, confirmed after 15 minutes (published)
"""
WHY_LEVEL = """\
s-1  cuff-level-below-heart, by reading: fires 1, unknown 1, silent 1

fires: one
true       all of these:
true         arm_level is below
true         arm_height_cm was not recorded
would be silent with arm_level: heart instead of below

unknown: two
unknown    all of these:
unknown      arm_level was not recorded
true         arm_height_cm was not recorded

"""


@pytest.fixture(autouse=True)
def rules_loaded_once(monkeypatch):
    monkeypatch.setattr(command, "loaded", lambda folder, layers: rules())


def run(*arguments: str, given: str | None = None):
    return CliRunner().invoke(command.explain, list(arguments), input=given)


def three_readings() -> dict:
    techniques = {"one": {"arm_level": "below"}, "two": {}, "three": {"arm_level": "below", "arm_height_cm": -3}}
    return {"subject": {"id": "s-1"}, "readings": [
        reading(f"2026-03-02T07:1{place}:00+01:00", 130, 80, id=name, technique=technique)
        for place, (name, technique) in enumerate(techniques.items())
    ]}  # fmt: skip


@pytest.mark.parametrize(("name", "text"), [("cuff-level-below-heart", CUFF_LEVEL), ("severe-in-pregnancy", PREGNANCY)])
def test_a_rule_is_told_in_plain_words(name, text):
    result = run(name)
    assert (result.exit_code, result.stdout) == (0, text)


@pytest.mark.parametrize("name", EVERY)
def test_every_shipped_rule_can_be_told_without_traces_of_the_program(name):
    result = run(name)
    rule = next(one for one in rules().ruleset.every_rule() if one.id == name)
    assert result.exit_code == 0, result.exception
    assert result.stdout.startswith(f"{name}: {rule.title}\n")
    assert not RAW.search(result.stdout)
    assert all(source.cite in result.stdout for source in rule.sources)


def test_a_subjects_rows_are_counted_and_the_first_are_told_firing_ones_before_the_others():
    result = run("cuff-level-below-heart", "--on", "-", "--most", "2", given=json.dumps(three_readings()))
    assert (result.exit_code, result.stdout) == (0, WHY_LEVEL)


@pytest.mark.parametrize(("most", "told"), [("0", []), ("1", ["fires"]), ("9", ["fires", "unknown", "silent"])])
def test_no_more_rows_are_told_than_asked_for(most, told):
    result = run("cuff-level-below-heart", "--on", "-", "--most", most, "--json", given=json.dumps(three_readings()))
    answer = json.loads(result.stdout)
    assert answer["counts"] == {"fires": 1, "unknown": 1, "silent": 1}
    assert [row["outcome"] for row in answer["rows"]] == told


@pytest.mark.parametrize("name", ["very-high", "best-of-sitting", "office-only-elevation", "device-disagrees"])
def test_a_rule_of_any_scope_fires_for_those_the_answers_name(name):
    result = run(name, "--on", str(HARBOUR_LANE), "--json", "--most", "99")
    told = {one["subject"]["id"]: one for one in map(json.loads, result.stdout.splitlines())}
    assert {subject for subject, one in told.items() if one["counts"]["fires"]} == {
        answer["subject"]["id"] for answer in demo_answers() if name in rules_fired(answer)
    }
    for answer in demo_answers():
        found = [one for one in answer["findings"] if one["rule"] == name]
        rows = [row for row in told[answer["subject"]["id"]]["rows"] if row["outcome"] == "fires"]
        concerned = {one for finding in found for one in finding.get("devices", finding["readings"])}
        assert {one for row in rows for one in row["of"]} == concerned
        assert bool(rows) == bool(found)


def test_the_limits_are_those_that_hold_for_the_subject():
    payload = week(days=1, pressures=[(165, 100)])
    payload["subject"]["pregnant"] = True
    result = run("severe-in-pregnancy", "--on", "-", "--most", "1", given=json.dumps(payload))
    assert "systolic is 165 mmHg, which is at least 160 mmHg (limit severe.systolic)" in result.stdout
    assert "would be silent with systolic: below 160 mmHg instead of 165 mmHg" in result.stdout


def test_a_derived_fact_comes_with_its_formula():
    payload = three_readings()
    payload["readings"][2]["technique"]["arm_height_cm"] = -12
    result = run("cuff-below-heart", "--on", "-", "--most", "1", given=json.dumps(payload))
    assert "at most 5 mmHg instead of 9.356 mmHg (= −arm_height_cm × 0.01 m" in result.stdout


def test_the_description_as_json_holds_what_the_text_says():
    told = json.loads(run("very-high", "--json").stdout)
    assert (told["rule"], told["urgent"], told["guideline"]) == ("very-high", True, "acc-aha-2025")
    first = told["condition"]["parts"][0]["parts"][0]
    assert (first["expected"], "outcome" in first) == ({"limit": "severe.systolic", "value": 180.0}, False)
    assert [one["fact"] for one in told["depends_on"]] == [
        "systolic", "diastolic", "pulse_pressure", "pregnant", "days_since_birth",
    ]  # fmt: skip


def test_an_unknown_rule_is_a_wrong_call_with_the_near_match():
    result = run("very-hihg")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "did you mean 'very-high'?" in result.stderr


def test_a_line_that_cannot_be_read_is_named_and_costs_no_other():
    lines = ["{", json.dumps({"subject": {"id": "x"}}), json.dumps(three_readings()), json.dumps(demo()[0])]
    result = run("talking", "--on", "-", "--json", given="\n".join(lines))
    assert (result.exit_code, len(result.stdout.splitlines())) == (1, 2)
    assert result.stderr.splitlines() == [
        "<stdin>:1: not JSON: column 2",
        "<stdin>:2: the request cannot be assessed",
        "<stdin>:2: /readings: required, but not there; expected a value",
    ]


def test_a_reading_that_cannot_be_read_is_named_and_the_others_are_still_told():
    payload = three_readings()
    del payload["readings"][0]["systolic"]
    result = run("talking", "--on", "-", "--json", given=json.dumps(payload))
    assert (result.exit_code, sum(json.loads(result.stdout)["counts"].values())) == (1, 2)
    assert "/readings/0/systolic" in result.stderr
