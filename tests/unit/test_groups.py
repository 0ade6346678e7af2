"""Special groups: soon after birth, who faints or is frail; fingers and forearms; devices, pauses, moments of stress."""

import pytest

from support import answer, average, reading, rules, rules_fired, rules_told, week

CALM = {"id": "x", "age_years": 31}
# source: ISSHP 2021 (published): severe from 160 or 110; kept for six weeks after birth (common practice)
SEVERE, NOT_SEVERE = [(160, 90), (140, 110)], [(159.9, 109.9)]


def once(systolic: float, diastolic: float, subject: dict | None = None, **more) -> dict:
    return answer({"subject": {**CALM, **(subject or {})},
                   "readings": [reading("2026-03-01T07:00:00+01:00", systolic, diastolic, **more)]})  # fmt: skip


@pytest.mark.parametrize(("systolic", "diastolic"), [*SEVERE, *NOT_SEVERE])
@pytest.mark.parametrize("days", [0, 41, 42, 43])
@pytest.mark.parametrize("guideline", sorted(rules().ruleset.guidelines))
def test_up_to_six_weeks_after_birth_a_severe_value_is_urgent_at_the_limits_for_pregnancy(
    guideline, days, systolic, diastolic
):
    payload = {
        "subject": {**CALM, "days_since_birth": days},
        "readings": [reading("2026-03-01T07:00:00+01:00", systolic, diastolic)],
        "options": {"guideline": guideline},
    }
    found, soon = answer(payload), days <= 42
    assert found["made_with"]["limits_from"] == ("isshp-2021" if soon else guideline)
    assert ("severe-after-birth" in rules_fired(found)) is (soon and (systolic, diastolic) in SEVERE)
    assert ("after-birth-limits-used" in rules_fired(found)) is soon
    if soon:
        assert (found["urgency"]["level"] == "now") is ((systolic, diastolic) in SEVERE)
        assert found["urgent"]  # what is not severe is raised there, and seen within a day


def test_nothing_of_birth_is_asked_of_who_did_not_send_it():
    found = once(185, 125)
    assert found["made_with"]["limits_from"] == rules().ruleset.default_guideline
    assert "days_since_birth" not in str(found["undocumented"])


@pytest.mark.parametrize(("systolic", "diastolic", "low"), [(90, 60, False), (89.9, 60, True), (110, 59.9, True)])
@pytest.mark.parametrize("fainting", [True, False, None])
def test_low_is_urgent_in_a_person_who_faints(fainting, systolic, diastolic, low):
    found = once(systolic, diastolic, {"fainting": fainting})
    assert ("low" in rules_fired(found)) is low
    assert found["urgent"] is (low and fainting is True)


@pytest.mark.parametrize(("age", "named"), [(17, False), (18, True), (None, True)])
def test_no_reading_of_a_child_is_called_low_by_a_limit_of_adults_unless_the_child_faints(age, named):
    assert ("low" in rules_fired(once(88, 50, {"age_years": age}))) is named
    assert ("very-low" in rules_fired(once(75, 45, {"age_years": age}))) is named
    for systolic, diastolic in ((88, 50), (75, 45)):
        assert once(systolic, diastolic, {"age_years": age, "fainting": True})["urgent"]


def test_a_very_low_reading_of_a_person_who_faints_is_told_as_that_too():
    assert {"very-low", "low-with-fainting"} <= rules_fired(once(75, 45, {"fainting": True}))


@pytest.mark.parametrize(("subject", "missed"), [({"frail": True}, True), ({"fainting": True}, True), ({}, False)])
def test_who_is_frail_or_faints_is_to_be_measured_standing(subject, missed):
    assert ("not-measured-standing" in rules_fired(once(120, 75, subject))) is missed
    standing = once(120, 75, subject, technique={"body_position": "standing"})
    assert "not-measured-standing" not in rules_fired(standing)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_reading_at_a_finger_is_left_out_and_still_urgent(side):
    found = once(185, 125, site=f"{side}-finger")
    (one,) = found["readings"]
    assert (one["reliability"], found["urgent"]) == ("unusable", True)
    assert {"finger-device", "no-home-readings", "very-high"} <= rules_told(found)


def test_a_forearm_is_doubtful_and_no_upper_arm():
    device = {"id": "d", "placement": "forearm", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}
    found = answer({
        "subject": {**CALM, "arm_circumference_cm": {"left": 45, "right": 45}}, "devices": [device],
        "readings": [reading("2026-03-01T07:00:00+01:00", 120, 75, device="d")],
    })  # fmt: skip
    assert found["readings"][0]["reliability"] == "doubtful"
    assert not [name for name in rules_fired(found) if name.startswith("arm-")]
    assert "forearm-cuff" in rules_fired(found)


def with_devices(payload: dict, *devices: dict) -> dict:
    """A payload whose readings use the devices by turns."""
    taken = [{**one, "device": devices[place % len(devices)]["id"]} for place, one in enumerate(payload["readings"])]
    return {**payload, "devices": list(devices), "readings": taken}


# source: a yearly check, common practice; a year has at most 366 days. The readings begin on 2026-03-01.
@pytest.mark.parametrize(("checked_on", "overdue"), [("2025-02-28", False), ("2025-02-27", True), ("2026-03-04", False)])
def test_a_device_is_to_be_checked_every_year(checked_on, overdue):
    found = answer(with_devices(week(1), {"id": "d", "checked_on": checked_on}))
    assert ("device-check-overdue" in rules_fired(found)) is overdue


def test_several_devices_are_counted_in_each_persons_usable_home_readings():
    one, two = {"id": "a"}, {"id": "b"}
    assert "home-devices-mixed" in rules_fired(answer(with_devices(week(), one, two)))
    assert "home-devices-mixed" not in rules_fired(answer(with_devices(week(), one)))
    unusable = with_devices(week(), one, {**two, "placement": "finger"})
    assert "home-devices-mixed" not in rules_fired(answer(unusable))


# source: more than two weeks between two days taken as a pause: common practice
@pytest.mark.parametrize(("day", "pause"), [(17, False), (18, False), (19, True)])
def test_a_pause_is_more_than_two_weeks_between_two_home_days(day, pause):
    payload = week(4)  # to 4 March
    payload["readings"].append(reading(f"2026-03-{day}T07:00:00+01:00", 128, 82))
    assert ("long-pause-at-home" in rules_fired(answer(payload))) is pause


@pytest.mark.parametrize(("stressed", "only"), [(28, True), (27, False), (0, False)])
def test_readings_from_stress_alone_are_no_ordinary_life(stressed, only):
    payload = week()
    for place, one in enumerate(payload["readings"]):
        one["circumstances"] = ["stress"] if place < stressed else ["work-day"]
    found = answer(payload)
    assert len(payload["readings"]) == 28 and average(found)["readings"] == 28
    assert ("home-only-stressful-moments" in rules_fired(found)) is only
