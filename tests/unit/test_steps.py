"""Next steps stand in the order of what they would change: urgent, then what misleads most, then what is only missing."""

from support import answer, rules, week


def codes(asked: dict) -> list[str]:
    return [step["code"] for step in answer(asked)["next_steps"]]


def test_a_fault_of_all_readings_comes_before_a_larger_fault_of_few():
    # An arm 15 cm too low is 11.7 mmHg (hydrostatic pressure); talking 5.3 (randomised order, n = 111, published).
    low_arm, talking = {"arm_height_cm": -15.0}, {"talking": True}
    asked = week()
    for number, reading in enumerate(asked["readings"]):
        reading["technique"] = low_arm if number == 0 else talking
    assert codes(asked)[:2] == ["correct-posture", "bring-cuff-to-heart-level"]
    for number, reading in enumerate(asked["readings"]):
        reading["technique"] = talking if number == 0 else low_arm
    assert codes(asked)[:2] == ["bring-cuff-to-heart-level", "correct-posture"]


def test_what_is_urgent_comes_first_and_what_only_a_note_asks_for_last():
    asked = week(technique={"arm_height_cm": -15.0})
    asked["readings"][-1] |= {"systolic": 192, "diastolic": 124}
    steps = answer(asked)["next_steps"]
    assert steps[0]["code"] == "repeat-at-once" and steps[-1]["because"] == []
    assert [step["first"] for step in steps] == [number < 3 for number in range(len(steps))]


def test_a_step_is_told_to_the_person_where_it_is_theirs_to_take():
    wording = rules().ruleset.wording
    for language in ("en", "es", "de"):
        told = wording[language].next_steps_for_patient
        assert set(told) <= set(wording[language].next_steps)
        assert "check-entry" in told and "use-paediatric-tables" not in told


def test_nobody_is_sent_to_an_arm_that_is_to_be_spared():
    for avoided, step in ((["left"], "use-other-arm"), (["left", "right"], "ask-where-to-measure")):
        asked = week(site="left-upper-arm")
        asked["subject"]["avoid_arms"] = avoided
        assert codes(asked)[0] == step
