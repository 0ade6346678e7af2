"""Parts of a rule's condition that a layer replaces, takes out or adds, and what is wrong with an address."""

import json

import pytest

from heartlevel import RuleFaults
from heartlevel.ruling.files.loading import load
from rules.laid import layer, refused, rules_of

OWN = """
- id: ours
  scope: reading
  when:
    all:
      - minutes_since_exercise: {below: 30}
      - any:
          - pulse: {above: 100}
          - pulse: {below: 40}
      - none: [{finding: talking}]
  effect: none
  severity: low
  title: Ours
  explanation: None.
  advice: None.
  sources:
    - {cite: none, standing: common-practice}
  examples:
    - {given: {minutes_since_exercise: 29, pulse: 101}, expect: fires}
    - {given: {minutes_since_exercise: 30}, expect: silent}
"""
EXERCISE, FAST, SLOW = {"minutes_since_exercise": {"below": 30}}, {"pulse": {"above": 100}}, {"pulse": {"below": 40}}
NOT_TALKING = {"none": [{"finding": "talking"}]}
EITHER = {"any": [FAST, SLOW]}
HOME = {"setting": {"equals": "home"}}


def changed(*parts: dict, **more: object) -> str:
    return json.dumps({"of": "rule", "id": "ours", "parts": list(parts), "reason": "ours", **more})


@pytest.fixture
def below(tmp_path):
    folder = tmp_path / "below"
    folder.mkdir()
    return layer(folder, own=OWN, name="Below")


CHANGES = {
    "a fact's": ([{"replace": "minutes_since_exercise", "with": HOME}], {"all": [HOME, EITHER, NOT_TALKING]}),
    "one as it stands": ([{"replace": SLOW, "with": HOME}], {"all": [EXERCISE, {"any": [FAST, HOME]}, NOT_TALKING]}),
    "a group": ([{"replace": EITHER, "with": FAST}], {"all": [EXERCISE, FAST, NOT_TALKING]}),
    "all of it": ([{"replace": {"all": [EXERCISE, EITHER, NOT_TALKING]}, "with": FAST}], FAST),
    "a part taken out": ([{"remove": SLOW}], {"all": [EXERCISE, {"any": [FAST]}, NOT_TALKING]}),
    "the first taken out": ([{"remove": "minutes_since_exercise"}], {"all": [EITHER, NOT_TALKING]}),
    "one that must hold as well": ([{"add": HOME}], {"all": [EXERCISE, EITHER, NOT_TALKING, HOME]}),
    "one beside another": ([{"add": HOME, "beside": FAST}], {"all": [EXERCISE, {"any": [FAST, SLOW, HOME]}, NOT_TALKING]}),
    "several, one after the other": (
        [{"remove": SLOW}, {"replace": "pulse", "with": HOME}],
        {"all": [EXERCISE, {"any": [HOME]}, NOT_TALKING]},
    ),
    "one to all of a single": (
        [{"replace": {"all": [EXERCISE, EITHER, NOT_TALKING]}, "with": FAST}, {"add": HOME}],
        {"all": [FAST, HOME]},
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_part_of_a_condition_is_changed_and_the_rest_is_left(below, tmp_path, change):
    parts, wanted = CHANGES[change]
    laid = rules_of(below, layer(tmp_path, changed(*parts)))
    (rule,) = (rule for rule in laid.every_rule() if rule.id == "ours")
    assert rule.written["when"] == wanted


def test_what_stood_there_before_is_kept_for_an_auditor(below, tmp_path):
    laid = rules_of(below, layer(tmp_path, changed({"remove": SLOW})))
    (change,) = laid.changes_of("rule", "ours")
    assert change.replaced == {"when": {"all": [EXERCISE, EITHER, NOT_TALKING]}}


MISTAKES = {
    "no such fact": ([{"remove": "minutes_since_exercis"}], "unknown-part", "did you mean 'minutes_since_exercise'?"),
    "not as it stands": ([{"remove": {"pulse": {"below": 41}}}], "unknown-part", "minutes_since_exercise"),
    "there twice": ([{"replace": "pulse", "with": HOME}], "ambiguous-part", "lines 8, 9"),
    "the last of its group": ([{"remove": {"finding": "talking"}}], "wrong-change", "only condition of its group"),
    "all of it": ([{"remove": {"all": [EXERCISE, EITHER, NOT_TALKING]}}], "wrong-change", "only condition"),
    "nothing in its place": ([{"replace": "pulse"}], "wrong-change", "takes its place"),
    "two at once": ([{"remove": SLOW, "add": HOME}], "wrong-change", "either replaces, removes or adds"),
    "beside nothing added": ([{"remove": SLOW, "beside": FAST}], "wrong-change", "only what is added"),
    "a condition with a mistake": ([{"add": {"settin": {"equals": "home"}}}], "unknown-fact", "setting"),
    "a field that is none": ([{"delete": "pulse"}], "unknown-key", "delete"),
}


def refused_over(below, tmp_path, *changes: str) -> list[str]:
    with pytest.raises(RuleFaults) as caught:
        load(None, (below, layer(tmp_path, *changes)))
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_a_part_is_named_where_the_layer_writes_it(below, tmp_path, mistake):
    parts, code, hint = MISTAKES[mistake]
    (fault,) = refused_over(below, tmp_path, changed(*parts))
    assert fault.startswith("clinic/layer.yaml:4:")
    assert f": {code}: " in fault
    assert hint in fault


def test_parts_and_the_whole_of_a_condition_exclude_each_other(below, tmp_path):
    both = refused_over(below, tmp_path, changed({"remove": SLOW}, set={"when": FAST}))
    assert any("wrong-change: `when` is either set whole or changed in parts" in text for text in both)


def test_parts_of_one_condition_stand_in_one_change(below, tmp_path):
    twice = refused_over(below, tmp_path, changed({"remove": SLOW}), changed({"add": HOME}))
    assert ["contradicting" in text and text.startswith("clinic/layer.yaml:5:") for text in twice] == [True]


def test_only_a_rule_has_parts(below, tmp_path):
    change = json.dumps({"of": "guideline", "id": "esc-2024", "parts": [{"add": HOME}], "reason": "ours"})
    assert any("only a rule has parts" in text for text in refused_over(below, tmp_path, change))


def test_examples_that_come_out_otherwise_are_told_at_the_part(tmp_path):
    change = json.dumps(
        {"of": "rule", "id": "legs-crossed", "parts": [{"add": {"pulse": {"above": 60}}}], "reason": "ours"}
    )
    told = refused(layer(tmp_path, change))
    assert told
    assert all("wrong-example" in text and text.startswith("clinic/layer.yaml:4:") for text in told)
