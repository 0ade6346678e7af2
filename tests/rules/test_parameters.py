"""Parameters of rules: named in `when` and in texts, read with their mistakes, changed alone by layers."""

import json
import pickle

import pytest

from heartlevel import RuleFaults, Rules
from heartlevel.ruling.language.conditions import Parameter
from heartlevel.ruling.language.explaining import outline
from heartlevel.ruling.tools.difference import differences
from rules.laid import layer, refused, rules_of
from support import rules

OWN = """
- id: ours
  scope: reading
  parameters:
    fastest: 100
  when:
    pulse: {above: {param: fastest}}
  effect: none
  severity: low
  title: "Pulse above {param:fastest}"
  explanation: "{pulse} a minute is above {param:fastest} {param:fastest:plural one=beat other=beats}."
  advice: Rest.
  sources:
    - {cite: none, standing: common-practice}
  examples:
    - {given: {pulse: 101}, expect: fires}
    - {given: {pulse: 100}, expect: silent}
"""


def set_parameters(rule: str, reason: str = "local protocol", **values: float) -> str:
    return json.dumps({"of": "rule", "id": rule, "set": {"parameters": values}, "reason": reason})


def texts_of(ruleset, rule: str, language: str) -> dict[str, str]:
    words = ruleset.wording[language].rules[rule]
    filled = {name: getattr(words, name).filled({}, {}) for name in ("explanation", "advice", "patient")}
    return {"title": words.title, **filled}


def test_one_line_of_a_layer_changes_the_condition_and_every_text_of_every_language(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("recent-exercise", minutes=45)))
    english, spanish = (texts_of(laid, "recent-exercise", language) for language in ("en", "es"))
    assert english["title"] == "Exercise within 45 minutes"
    assert "at least 45 minutes after it" in english["advice"]
    assert "45 minutes after" in english["patient"]
    assert spanish["title"] == "Ejercicio en los últimos 45 minutos"
    assert "al menos 45 minutos" in spanish["advice"]
    assert "45 minutos después" in spanish["patient"]
    assert "30" not in "".join([*english.values(), *spanish.values()])
    rule = next(rule for rule in laid.every_rule() if rule.id == "recent-exercise")
    assert rule.parameters == {"minutes": 45}
    assert rule.unit_of("minutes") == "min"


def test_what_several_rules_ask_for_is_told_by_the_largest(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("recent-caffeine", minutes=60)))
    steps = laid.wording["en"]
    assert "nicotine for 60 minutes" in steps.next_steps["prepare-before-measuring"]
    assert "for 60 minutes do without" in steps.next_steps_for_patient["prepare-before-measuring"]
    assert "for half an hour" in rules().ruleset.wording["en"].next_steps["prepare-before-measuring"]


def test_a_share_is_told_with_its_decimals_and_where_another_rule_tells_it(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("cuff-too-narrow", least=0.375)))
    assert "37.5 to 50 % is admissible" in texts_of(laid, "cuff-too-narrow", "en")["explanation"]
    assert "37.5 to 50 % is admissible" in texts_of(laid, "cuff-too-wide", "en")["explanation"]
    assert "del 37,5 al 50 %" in texts_of(laid, "cuff-too-wide", "es")["explanation"]


def test_another_rule_can_still_be_told_of_when_it_is_switched_off(tmp_path):
    laid = rules_of(layer(tmp_path, "{of: rule, id: cuff-too-wide, off: true, reason: ours}"))
    assert "37 to 50 % is admissible" in texts_of(laid, "cuff-too-narrow", "en")["explanation"]


def test_a_negative_is_the_parameter_with_its_sign_turned(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("cuff-above-heart", most=7)))
    near, above = (next(rule for rule in laid.every_rule() if rule.id == name)
                   for name in ("cuff-near-heart-level", "cuff-above-heart"))  # fmt: skip
    assert [term.values for term in near.leaves] == [(2.0, 5.0), (-7.0, -2.0)]
    assert [term.values for term in above.leaves if hasattr(term, "values")][0] == (-7.0,)


def test_a_rule_of_a_layer_has_parameters_of_its_own(tmp_path):
    laid = rules_of(layer(tmp_path, own=OWN))
    assert texts_of(laid, "ours", "en")["title"] == "Pulse above 100"
    rule = next(rule for rule in laid.every_rule() if rule.id == "ours")
    assert outline(rule.condition, {}, {}) == {
        "kind": "comparison", "fact": "pulse", "meaning": "pulse rate", "unit": "/min", "operator": "above",
        "expected": {"param": "fastest", "value": 100.0}, "text": "pulse is above 100 /min (parameter fastest)",
    }  # fmt: skip


MISTAKES = {
    "misspelt in when": ("{param: fastest}", "{param: fastes}", "unknown-parameter", "fastest"),
    "misspelt in a text": ("is above {param:fastest}", "is above {param:fastes}", "unknown-placeholder", "fastest"),
    "no name": ("    fastest: 100", "    Fastest one: 100", "not-a-name", "hyphens"),
    "no number": ("    fastest: 100", "    fastest: '100'", "not-a-number", "plain number"),
    "beyond what is recorded": ("    fastest: 100", "    fastest: 1000", "out-of-range", "10 to 400"),
    "of no use": ("    fastest: 100", "    fastest: 100\n    slowest: 4", "unused-parameter", "slowest"),
    "of another kind": ("pulse: {above: {param: fastest}}", "setting: {equals: {param: fastest}}", "wrong-value", "choice"),
    "of two units": (
        "pulse: {above: {param: fastest}}",
        "all: [{pulse: {above: {param: fastest}}}, {systolic: {above: {param: fastest}}}]",
        "wrong-value",
        "same unit",
    ),
    "a key that is none": ("{param: fastest}", "{parameter: fastest}", "wrong-value", "param"),
    "a fixed number that is none": ("Rest.", "'Rest {fixed:ten} minutes.'", "unknown-placeholder", "fixed:20"),
    "a form there is none of": ("one=beat other=beats", "few=beat other=beats", "wrong-plural", "few"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_at_its_line(tmp_path, mistake):
    before, after, code, hint = MISTAKES[mistake]
    assert OWN.count(before) == 1
    written = OWN.replace(before, after)
    changed = "fastest: 100" if "units" in mistake else after.split("\n")[-1]
    line = written.count("\n", 0, written.index(changed)) + 1
    found = [text for text in refused(layer(tmp_path, own=written)) if code in text]
    assert found
    assert all(text.startswith(f"clinic/reading/own.yaml:{line}:") for text in found), (line, found)
    assert hint is None or any(hint in text for text in found)


def test_a_layer_that_misspells_a_parameter_is_refused_with_the_near_match(tmp_path):
    (mistake,) = refused(layer(tmp_path, set_parameters("recent-exercise", minuts=45)))
    assert mistake.startswith("clinic/layer.yaml:4:")
    assert "unused-parameter" in mistake
    assert "did you mean 'minutes'?" in mistake


def test_a_layer_whose_parameters_cross_is_refused_where_it_sets_them(tmp_path):
    mistakes = refused(layer(tmp_path, set_parameters("cuff-near-heart-level", slight=6)))
    assert all(text.startswith("clinic/layer.yaml:4:") and "lower value first" in text for text in mistakes)


def test_a_parameter_is_a_number_like_any_other_and_keeps_its_name_between_processes():
    parameter = Parameter(30, "minutes")
    assert parameter == 30.0
    assert hash(parameter) == hash(30.0)
    copy = pickle.loads(pickle.dumps(parameter))
    assert (copy, copy.name) == (30.0, "minutes")


def test_a_parameter_without_a_value_is_told(tmp_path):
    told = refused(layer(tmp_path, own=OWN.replace("fastest: 100", "fastest:")))
    assert any("own.yaml:7:" in text and "unknown-parameter: the rule has no parameter 'fastest'" in text for text in told)


def test_a_parameter_that_is_not_wanted_any_more_is_set_to_null(tmp_path):
    part = {"replace": "home_longest_pause_days", "with": {"home_longest_pause_days": {"above": 21}}}
    examples = [{"given": {"home_longest_pause_days": 22}, "expect": "fires"},
                {"given": {"home_longest_pause_days": 21}, "expect": "silent"}]  # fmt: skip
    laid = rules_of(layer(tmp_path, parts("long-pause-at-home", part, parameters={"days": None}, examples=examples)))
    assert [rule.parameters for rule in laid.every_rule() if rule.id == "long-pause-at-home"] == [{}]


def test_a_layer_that_changes_the_condition_leaves_no_parameter_behind(tmp_path):
    change = {"of": "rule", "id": "recent-exercise", "reason": "ours", "set": {"when": {"pulse": {"above": 300}}}}
    (mistake,) = refused(layer(tmp_path, json.dumps(change)))
    assert mistake.startswith("clinic/layer.yaml:4:")
    assert "unused-parameter: 'minutes' plays no part in the rule's `when` any more" in mistake


def test_examples_stand_for_the_numbers_they_were_written_with(tmp_path):
    (tmp_path / "below").mkdir()
    below = layer(tmp_path / "below", own=OWN, name="Below")
    laid = Rules.load(None, (below, layer(tmp_path, set_parameters("ours", fastest=110))))
    assert laid.ruleset.wording["en"].rules["ours"].title == "Pulse above 110"


def test_examples_written_with_the_new_number_are_judged_by_it(tmp_path):
    (tmp_path / "below").mkdir()
    below = layer(tmp_path / "below", own=OWN, name="Below")
    examples = [{"given": {"pulse": 105}, "expect": "fires"}, {"given": {"pulse": 100}, "expect": "silent"}]
    change = {"of": "rule", "id": "ours", "reason": "ours", "set": {"parameters": {"fastest": 110}, "examples": examples}}
    with pytest.raises(RuleFaults, match="wrong-example: for pulse: 105 'ours' comes out silent, not fires"):
        Rules.load(None, (below, layer(tmp_path, json.dumps(change))))


def test_a_parameter_that_leaves_somebody_less_urgent_is_refused_with_the_patient(tmp_path):
    told = [text for text in refused(layer(tmp_path, set_parameters("very-low", systolic=75))) if ":4:" in text]
    assert [text.split(": ")[1] for text in told] == ["less-urgent"] * 2
    assert "'very-low' names this patient below the layer, and no longer under" in "".join(told)
    assert "systolic 75" in "".join(told)


def test_a_parameter_that_makes_more_people_urgent_is_allowed(tmp_path):
    laid = Rules.load(None, (layer(tmp_path, set_parameters("very-low", systolic=85)),))
    assert [rule.parameters for rule in laid.ruleset.every_rule() if rule.id == "very-low"] == [{"systolic": 85}]


def parts(rule: str, *changed: dict, **fields: object) -> str:
    return json.dumps({"of": "rule", "id": rule, "parts": list(changed), "set": fields, "reason": "ours"})


def test_a_part_that_leaves_somebody_less_urgent_is_refused_with_the_patient(tmp_path):
    examples = [{"given": {"systolic": 79, "pulse": 60, "pulse_pressure": 40}, "expect": "fires"},
                {"given": {"systolic": 79}, "expect": "silent"}]  # fmt: skip
    told = refused(layer(tmp_path, parts("very-low", {"add": {"pulse": {"known": True}}}, examples=examples)))
    assert any("less-urgent: 'very-low' names this patient" in text and text.startswith("clinic/layer.yaml:4:")
               for text in told)  # fmt: skip


def test_a_value_is_no_reason_to_leave_a_reading_out_whatever_the_parameter(tmp_path):
    told = refused(layer(tmp_path, set_parameters("impossible-value", highest=200)))
    assert any("value-unusable" in text and text.startswith("clinic/layer.yaml:4:") for text in told), told


def test_a_parameter_with_which_a_rule_could_never_fire_is_refused(tmp_path):
    (mistake,) = refused(layer(tmp_path, set_parameters("recent-exercise", minutes=0)))
    assert mistake.startswith("clinic/layer.yaml:4:")
    assert "never-fires: 'recent-exercise' can never fire any more" in mistake


def test_an_auditor_sees_who_set_a_parameter_what_it_was_and_why(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("recent-exercise", reason="Local protocol 7", minutes=45)))
    rule = next(rule for rule in laid.every_rule() if rule.id == "recent-exercise")
    assert laid.parameter_origins(rule) == [{
        "name": "minutes", "value": 45, "unit": "min", "file": "clinic/layer.yaml", "line": 4, "layer": "clinic", "was": 30,
        "reason": "Local protocol 7",
    }]  # fmt: skip
    (origin,) = rules().ruleset.parameter_origins(next(one for one in rules().ruleset.every_rule() if one.id == rule.id))
    assert (origin["value"], origin["layer"], origin["was"], origin["reason"]) == (30, None, None, None)


def test_a_changed_parameter_has_another_fingerprint_and_is_a_difference(tmp_path):
    laid = rules_of(layer(tmp_path, set_parameters("recent-exercise", minutes=45)))
    assert laid.fingerprint != rules().ruleset.fingerprint
    told = {(each.kind, each.id): each for each in differences(rules().ruleset, laid)}
    # Next steps tell it too.
    assert told.keys() == {("rule", "recent-exercise"), ("wording", "de"), ("wording", "en"), ("wording", "es")}
    difference = told["rule", "recent-exercise"]
    assert difference.fields == (("parameters.minutes", 30, 45),)
    assert difference.reasons == ("local protocol (Clinic)",)
