"""What anyone who takes blood pressures knows. source: common practice, throughout."""

import json

import pytest

from support import answer, rules, rules_fired, week


def one(**more):
    return answer(week(days=1, **more))


def errors(found):
    return {
        error[name]["direction"]
        for reading in found["readings"]
        for error in reading["expected_errors"]
        for name in ("systolic", "diastolic")
        if name in error
    }


@pytest.mark.parametrize(
    ("height", "rule", "direction"),
    [(-10, "cuff-below-heart", "reads-high"), (10, "cuff-above-heart", "reads-low")],
)
def test_an_arm_below_the_heart_reads_high_and_above_it_low(height, rule, direction):
    found = one(technique={"arm_height_cm": height})
    assert rule in rules_fired(found)
    assert errors(found) == {direction}
    assert {reading["reliability"] for reading in found["readings"]} == {"doubtful"}


@pytest.mark.parametrize("level", ["below", "above"])
def test_the_level_of_the_arm_counts_where_no_height_was_measured(level):
    assert f"cuff-level-{level}-heart" in rules_fired(one(technique={"arm_level": level}))


def test_an_arm_at_heart_level_has_no_expected_error():
    assert errors(one(technique={"arm_height_cm": 0})) == set()


def both_arms(left="left", right="right"):
    payload = week(days=3)
    for place, reading in enumerate(payload["readings"]):
        side = (left, right)[place % 2]
        reading["site"] = f"{side}-upper-arm"
        reading["systolic"] += 14 * (place % 2)
    payload["subject"] |= {"arm_circumference_cm": {left: 36, right: 30}, "avoid_arms": [left]}
    payload["devices"] = [{"id": "d", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}]
    payload["readings"] = [{**reading, "device": "d"} for reading in payload["readings"]]
    return payload


def swapped(value):
    """Swap left and right in every text, whole words only."""
    text = json.dumps(value)
    for before, after in (("left", "\x01"), ("right", "left"), ("\x01", "right")):
        text = text.replace(before, after)
    return json.loads(text)


def test_swapping_left_and_right_changes_only_the_names():
    before, after = answer(both_arms()), answer(both_arms("right", "left"))
    for key in ("urgent", "readings", "averages", "variability", "classification", "undocumented"):
        assert before[key] == after[key], key
    assert [finding["rule"] for finding in before["findings"]] == [finding["rule"] for finding in after["findings"]]


def check(differences):
    pairs = [
        {"device": {"systolic": 130 + away, "diastolic": 80 + away}, "reference": {"systolic": 130, "diastolic": 80}}
        for away in differences
    ]
    payload = week(days=1)
    payload["devices"] = [{"id": "d"}]
    payload["device_checks"] = [{"device": "d", "pairs": pairs}]
    found = answer(payload)
    return found["device_checks"][0]["verdict"], rules_fired(found)


def test_a_device_close_to_the_reference_agrees():
    verdict, fired = check([1, 2, 3, 2, 1, 2, 3, 2])
    assert verdict == "agrees"
    assert not {"device-disagrees", "device-check-undecided", "few-comparison-pairs"} & fired


def test_a_device_twelve_off_disagrees():
    verdict, fired = check([11, 12, 13, 12, 11, 12, 13, 12])
    assert verdict == "disagrees"
    assert "device-disagrees" in fired


def test_a_device_twelve_below_disagrees_as_well():
    assert check([-11, -12, -13, -12, -11, -12, -13, -12])[0] == "disagrees"


def test_two_scattered_pairs_decide_nothing():
    verdict, fired = check([-9, 9])
    assert verdict == "undecided"
    assert {"device-check-undecided", "few-comparison-pairs"} <= fired


@pytest.mark.parametrize(("chosen_from", "reliability"), [(1, "not-documented"), (2, "doubtful"), (5, "unusable")])
def test_the_best_of_several_readings_is_no_measurement(chosen_from, reliability):
    found = one(selected_from=chosen_from)
    assert {reading["reliability"] for reading in found["readings"]} == {reliability}
    assert bool(found["averages"]) == (reliability != "unusable")


BAD = {"talking": True, "legs_crossed": True, "full_bladder": True, "arm_height_cm": -30, "rested_minutes": 0,
       "back_supported": False, "arm_supported": False, "bare_arm": False}  # fmt: skip


@pytest.mark.parametrize(("systolic", "diastolic"), [(192, 124), (74, 45)])
def test_an_urgent_value_stays_urgent_however_badly_it_was_taken(systolic, diastolic):
    found = answer(week(days=1, pressures=((systolic, diastolic),), technique=BAD, selected_from=5))
    assert found["urgent"]
    assert {reading["reliability"] for reading in found["readings"]} == {"unusable"}
    assert found["next_steps"][0]["code"] == "repeat-at-once"


def test_an_ordinary_value_badly_taken_is_not_urgent():
    assert not one(technique=BAD)["urgent"]


@pytest.mark.parametrize(
    ("technique", "expected"),
    [({"talking": True}, True), ({"legs_crossed": True}, True), ({"full_bladder": True}, True),
     ({"talking": False, "legs_crossed": False, "full_bladder": False}, False)],
)  # fmt: skip
def test_talking_crossed_legs_and_a_full_bladder_read_high(technique, expected):
    assert ("reads-high" in errors(one(technique=technique))) is expected


@pytest.mark.parametrize(("around", "direction"), [(40, "reads-high"), (18, "reads-low")])
def test_a_small_cuff_reads_high_and_a_large_one_low(around, direction):
    payload = week(days=1, site="left-upper-arm", device="d")
    payload["subject"]["arm_circumference_cm"] = {"left": around}
    payload["devices"] = [{"id": "d", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}]
    assert errors(answer(payload)) == {direction}


def test_the_rules_name_every_finding_used_here():
    names = {rule.id for rule in rules().ruleset.every_rule()}
    assert {"cuff-below-heart", "cuff-above-heart", "device-disagrees", "device-check-undecided",
            "few-comparison-pairs"} <= names  # fmt: skip
