"""Messages of rule files say what is wrong where it is written, and suggest what was probably meant."""

import pytest

from heartlevel.ruling.files.parsing import near_limit
from rules.laid import layer, refused
from support import OWN_RULE, rules

LEGS = "{of: rule, id: legs-crossed, set: {severity: high}, reason: x}"


def own_rule(old: str, new: str) -> str:
    assert old in OWN_RULE
    return OWN_RULE.replace(old, new, 1)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{pulse: {above: 100}}", "{systolic: {above: {limit: home.systolic}}}", "mean 'home.hypertension.systolic'?"),
        ("{pulse: {above: 100}}", "{systolic: {above: {limit: severe.systolik}}}", "mean 'severe.systolic'?"),
        ("{pulse} a minute", "{limit:home.systolic}", "mean 'home.hypertension.systolic'?"),
        ("{pulse: {above: 100}}", "{rested_minutes: {below: {limit: severe.systolic}}}", "is in min, the limit"),
        ("{pulse: {above: 100}}", "{systolic: {above: {limit: adults_from_years}}}", "is in mm[Hg], the"),
        ("{above: 100}", "{above: 0135}", "not-a-number: '0135' is a number of another kind"),
        ("{above: 100}", "{above: 1:30}", "not-a-number: '1:30' is a number of another kind"),
        ("{above: 100}", "{above: 1_00}", "not-a-number: '1_00' is a number of another kind"),
        ("{above: 100}", "{above: 0x64}", "not-a-number: '0x64' is a number of another kind"),
        ("title: Fast pulse", 'title: "Fast \\x07pulse"', "not-a-text: there is a control character in it, U+0007"),
        ("title: Fast pulse", 'title: "Fast \\u202epulse"', "not-a-text: there is a control character in it, U+202E"),
        ("title: Fast pulse", 'title: " "', "text-length: the text is blank"),
        ("title: Fast pulse", "title: *fast", "anchors and aliases (& and *) are not used"),
        ("title: Fast pulse", "title: &fast pulse", "anchors and aliases (& and *) are not used"),
        ("title: Fast pulse", "title: Fast \0pulse", "is NUL"),
    ],
)  # fmt: skip
def test_what_is_written_is_blamed_for_what_it_is(tmp_path, old, new, said):
    own = own_rule(old, new)
    faults = refused(layer(tmp_path, own=own))
    line = own[: own.index(new)].count("\n") + 1
    assert [fault for fault in faults if fault.startswith(f"clinic/reading/own.yaml:{line}:") and said in fault], faults
    assert len(faults) == 1, faults


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ([LEGS, LEGS.replace("high", "low")], "5:40: contradicting: severity is set otherwise in line 4"),
        ([LEGS, "{of: rule, id: legs-crossed, off: true, reason: x}"], "5:5: contradicting: line 4 of this layer"),
        ([LEGS.replace("reason: x", "reason: '  '")], "text-length: the text is blank"),
        (["{of: rule, id: legs-crossed, set: {expected_error: {systolic: {range: [1, 2]}}}, reason: x}",
          "{of: rule, id: legs-crossed, set: {expected_error: {systolic: null}}, reason: x}"], "5:5"),
    ],
)  # fmt: skip
def test_changes_that_contradict_each_other_and_blank_reasons_are_refused(tmp_path, changes, said):
    faults = refused(layer(tmp_path, *changes))
    assert any(said in fault for fault in faults), faults


def test_changes_of_different_fields_and_equal_ones_do_not_contradict(tmp_path):
    assert layer(tmp_path, LEGS, LEGS, LEGS.replace("severity: high", "title: Crossed"))
    with pytest.raises(pytest.fail.Exception):
        refused(tmp_path / "clinic")


def test_a_limit_is_near_to_those_of_its_place():
    limits = {name for guideline in rules().ruleset.guidelines.values() for name in guideline.limits}
    assert near_limit("home.systolic", limits) == "did you mean 'home.hypertension.systolic'?"
    assert near_limit("low.sistolic", limits) == "did you mean 'low.systolic'?"
    assert "low" not in str(near_limit("home.sys", limits))
