"""What is measured for another purpose, or with a device that failed its check, does not make up a comparison."""

from support import answer, average, rules_fired, week

OFF = [{"device": {"systolic": one + 12, "diastolic": 92}, "reference": {"systolic": one, "diastolic": 80}}
       for one in (130, 134, 138, 132, 136)]  # fmt: skip
SEATED = {"systolic": 146, "diastolic": 92, "setting": "office", "technique": {"body_position": "sitting"}}
OFFICE = [{"id": f"o-{minute}", "taken_at": f"2026-03-01T10:{minute:02d}:00+01:00", **SEATED} for minute in (0, 2)]
STANDING = {**OFFICE[0], "id": "up", "taken_at": "2026-03-01T10:04:00+01:00", "systolic": 130,
            "technique": {"body_position": "standing"}}  # fmt: skip


def with_office(payload: dict, *readings: dict) -> dict:
    return {**payload, "readings": [*payload["readings"], *readings]}


def test_readings_from_a_device_that_failed_its_check_name_no_pattern():
    payload = with_office(week(device="d-1"), *OFFICE) | {"devices": [{"id": "d-1"}]}
    assert answer(payload)["pattern"]["label"] == "sustained"
    checked = answer(payload | {"device_checks": [{"device": "d-1", "pairs": OFF}]})
    assert "home-device-disagrees" in rules_fired(checked)
    assert checked["pattern"]["unfit"] == [{"side": "home", "codes": ["home-device-disagrees"]}]
    assert checked["pattern"]["label"] == "undetermined"


def test_a_reading_taken_standing_to_see_the_pressure_follow_is_in_no_seated_average():
    found = answer(with_office(week(), *OFFICE, STANDING))
    assert average(found, "office")["systolic"]["mean"] == 146.0
    assert [one["reliability"] for one in found["readings"] if one["id"] == "up"] == ["unusable"]


def test_a_reading_taken_standing_with_none_before_it_is_only_doubtful():
    found = answer(with_office(week(), STANDING))
    assert [one["reliability"] for one in found["readings"] if one["id"] == "up"] == ["doubtful"]


def label(payload: dict) -> str:
    return answer(payload)["pattern"]["label"]


def test_readings_that_are_all_doubtful_name_no_pattern():
    assert label(with_office(week(), *OFFICE)) == "sustained"
    reads_high = {"arm_height_cm": -20}
    assert label(with_office(week(technique=reads_high), *OFFICE)) == "undetermined"
    talking = [{**one, "technique": {**one["technique"], "talking": True}} for one in OFFICE]
    assert label(with_office(week(), *talking)) == "undetermined"
    assert "office-mostly-doubtful-technique" in rules_fired(answer(with_office(week(), *talking)))


def test_readings_months_apart_name_no_pattern():
    later = [{**one, "taken_at": one["taken_at"].replace("2026-03", "2026-07")} for one in OFFICE]
    found = answer({**with_office(week(), *later), "options": {"time_zone": "Europe/Oslo", "as_of": "2026-08-01"}})
    assert "home-readings-old" in rules_fired(found)
    assert found["pattern"]["unfit"] == [{"side": "home", "codes": ["home-readings-old"]}]
    assert found["pattern"]["label"] == "undetermined"
