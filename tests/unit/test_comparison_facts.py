"""Facts that hold a person's readings against one another, by hand-counted cases."""

import numpy as np
import pytest
from scipy.special import stdtrit

from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from support import reading, rules, week


def facts(readings, scope="series", **more):
    """The columns of one request's facts of a scope."""
    payload = {"subject": {"id": "s-1"}, "readings": readings, **more}
    return assess_requests([read(payload, rules().ruleset.choices)], rules()).facts[scope]


def at(day, minute, systolic, diastolic=80, **more):
    return reading(f"2026-03-{day:02d}T08:{minute:02d}:00+01:00", systolic, diastolic, **more)


def on(arm, day, minute, systolic, **more):
    return at(day, minute, systolic, site=f"{arm}-upper-arm", **more)


def posed(position, minute, systolic, diastolic=80, **more):
    return at(1, minute, systolic, diastolic, technique={"body_position": position}, **more)


def unknown(column):
    return bool(np.isnan(column).all())


def test_arms_are_compared_sitting_by_sitting_and_the_sittings_averaged():
    found = facts([on("left", 1, 0, 120), on("right", 1, 2, 130), on("right", 1, 4, 134),
                   on("left", 2, 0, 150), on("right", 2, 2, 130)])  # fmt: skip
    # (132 - 120) in the first sitting, (130 - 150) in the second.
    assert (found["arm_sittings"][0], found["right_minus_left_systolic"][0]) == (2, -4)
    assert (found["arm_systolic_difference"][0], found["higher_arm"][0]) == (4, 0)
    assert facts([on("left", 1, 0, 120), on("right", 1, 2, 130)])["higher_arm"][0] == 1


@pytest.mark.parametrize(
    "other",
    [
        on("right", 1, 45, 150),
        on("right", 1, 2, 150, setting="office"),
        at(1, 2, 150, site="right-wrist"),
        at(1, 2, 150),
        on("right", 1, 2, 150, technique={"body_position": "standing"}),
        on("right", 1, 2, 150, technique={"body_position": "lying"}),
        on("right", 1, 2, 150, selected_from=5),
    ],
    ids=["another sitting", "another setting", "the wrist", "no site", "standing", "lying", "unusable"],
)
def test_arms_are_not_compared_across(other):
    found = facts([on("left", 1, 0, 120), other])
    assert found["arm_sittings"][0] == 0
    assert unknown(found["arm_systolic_difference"])


def test_an_arm_to_avoid_is_known_only_where_the_list_was_sent():
    def said(**more):
        return facts([], subject={"id": "s-1", **more})["an_arm_to_avoid"]

    assert (said(avoid_arms=["left"])[0], said(avoid_arms=["right"])[0], said(avoid_arms=[])[0]) == (1, 1, 0)
    assert unknown(said())


def test_sides_are_counted_between_home_sittings_and_not_within_one():
    both = [on("left", 1, 0, 120), on("right", 1, 2, 124)]
    assert unknown(facts(both)["home_sides"])
    assert facts([*both, on("left", 2, 0, 120)])["home_sides"][0] == 1
    assert facts([*both, on("left", 2, 0, 120), on("right", 3, 0, 120)])["home_sides"][0] == 2
    assert facts([on("left", 2, 0, 120), on("right", 3, 0, 120, setting="office")])["home_sides"][0] == 1


def test_a_run_of_equal_readings_is_broken_by_either_pressure_and_by_the_setting():
    same = [at(1, minute, 120, 80) for minute in (0, 5, 10)]
    assert facts([*same, at(1, 15, 120, 81), at(1, 20, 120, 80)])["longest_same_run"][0] == 3
    assert facts([*same, at(1, 15, 121, 80), at(1, 20, 120, 80)])["longest_same_run"][0] == 3
    assert facts([*same, at(1, 15, 120, 80, setting="office")])["longest_same_run"][0] == 3
    assert facts([*same, at(1, 15, 120, 80)])["longest_same_run"][0] == 4
    assert unknown(facts([])["longest_same_run"])


def test_days_are_counted_from_the_last_home_reading_to_the_assessment():
    home = [at(1, 0, 120), at(5, 0, 121), at(9, 0, 121, setting="office")]
    assert facts(home, options={"as_of": "2026-03-15"})["days_since_home_reading"][0] == 10
    assert unknown(facts(home)["days_since_home_reading"])
    assert unknown(facts(home[2:], options={"as_of": "2026-03-15"})["days_since_home_reading"])


def checked(device, away):
    return {"device": device, "pairs": [
        {"device": {"systolic": 130 + away + wobble, "diastolic": 80 + wobble},
         "reference": {"systolic": 130, "diastolic": 80}} for wobble in (0, 1) * 4
    ]}  # fmt: skip


DEVICES = [{"id": "d-1"}, {"id": "d-2"}, {"id": "d-3"}]
WITH_DEVICES = [at(1, 0, 120, device="d-1"), at(1, 5, 121, device="d-2"), at(1, 36, 122, device="d-2"),
                at(2, 0, 123, device="d-2"), at(2, 5, 124), at(2, 36, 124, device="d-3")]  # fmt: skip


def test_averaged_readings_of_a_device_that_disagrees_are_counted_among_those_whose_device_was_checked():
    found = facts(WITH_DEVICES, devices=DEVICES, device_checks=[checked("d-1", 12), checked("d-2", 0)])
    assert found["home_disagreeing_device_share"][0] == 0.25
    assert (found["home_device_systolic_bias"][0], found["home_device_diastolic_bias"][0]) == (12.5, 0.5)
    agreeing = facts(WITH_DEVICES, devices=DEVICES, device_checks=[checked("d-1", 0)])
    assert agreeing["home_disagreeing_device_share"][0] == 0
    assert unknown(agreeing["home_device_systolic_bias"])


def in_steps(device, away):
    by = ("device", "device", "reference")
    return {"device": device, "sequence": [
        {"by": one, "systolic": 130 + away * (one == "device"), "diastolic": 80} for one in by
    ]}  # fmt: skip


def test_a_device_that_failed_the_stepwise_check_disagrees_and_a_usable_one_does_not():
    found = facts(WITH_DEVICES, devices=DEVICES, device_checks=[in_steps("d-1", -12), in_steps("d-2", 2)])
    assert (found["home_disagreeing_device_share"][0], found["home_device_systolic_bias"][0]) == (0.25, -12)
    for undecided in (in_steps("d-1", 8), {"device": "d-1", "sequence": in_steps("d-1", 12)["sequence"][::-1]}):
        assert unknown(facts(WITH_DEVICES, devices=DEVICES, device_checks=[undecided])["home_disagreeing_device_share"])


def test_of_several_checks_of_a_device_the_worst_counts():
    for checks in ([checked("d-1", -12), checked("d-1", 0)], [checked("d-1", 0), checked("d-1", -12)]):
        found = facts(WITH_DEVICES, devices=DEVICES, device_checks=checks)
        assert (found["home_disagreeing_device_share"][0], found["home_device_systolic_bias"][0]) == (1, -11.5)


def test_a_check_that_decides_nothing_and_one_of_another_subject_say_nothing():
    few = {**checked("d-1", 12), "pairs": checked("d-1", 12)["pairs"][:1]}
    assert unknown(facts(WITH_DEVICES, devices=DEVICES, device_checks=[few])["home_disagreeing_device_share"])
    assert unknown(facts(WITH_DEVICES, devices=DEVICES)["home_disagreeing_device_share"])
    payloads = [
        {"subject": {"id": name}, "readings": WITH_DEVICES, "devices": DEVICES, "device_checks": checks}
        for name, checks in (("s-1", []), ("s-2", [checked("d-1", 12)]))
    ]
    several = assess_requests([read(one, rules().ruleset.choices) for one in payloads], rules()).facts["series"]
    assert np.isnan(several["home_disagreeing_device_share"]).tolist() == [True, False]


def test_a_reading_that_the_average_leaves_out_does_not_bring_its_device_into_it():
    first_day = {"guideline": "nice-ng136", "protocol": "nice-ng136"}
    readings = [at(1, 0, 120, device="d-1"), at(2, 0, 120, device="d-2")]
    found = facts(readings, devices=DEVICES, device_checks=[checked("d-1", 12), checked("d-2", 0)], options=first_day)
    assert (found["home_disagreeing_device_share"][0], found["home_kept_devices"][0]) == (0, 1)
    assert facts(readings, devices=DEVICES)["home_kept_devices"][0] == 2
    assert unknown(facts([at(1, 0, 120)])["home_kept_devices"])


def test_the_interval_leaves_a_tenth_at_either_end():
    days = [at(day, 0, value, value - 40) for day, value in enumerate((120, 126, 132), start=1)]
    found = facts(days)
    half = stdtrit(2, 0.9) * 6 / 3**0.5  # days 120, 126, 132: standard deviation 6
    for pressure, mean in (("systolic", 126), ("diastolic", 86)):
        assert found[f"home_{pressure}_low80"][0] == pytest.approx(mean - half)
        assert found[f"home_{pressure}_high80"][0] == pytest.approx(mean + half)
    assert unknown(facts(days[:2])["home_systolic_low80"])


def standing(readings):
    names = ("position_before_standing", "minutes_since_before_standing",
             "systolic_fall_on_standing", "diastolic_fall_on_standing")  # fmt: skip
    found = facts(readings, "reading")
    return [tuple(None if np.isnan(found[name][row]) else found[name][row] for name in names)
            for row in range(len(readings))]  # fmt: skip


NOTHING = (None,) * 4
SITTING, LYING = 0, 2


def test_each_standing_reading_is_held_against_the_last_one_before_standing_up():
    readings = [posed("lying", 0, 160), posed("lying", 1, 140, 85),
                posed("standing", 2, 130, 72), posed("standing", 4, 118, 90)]  # fmt: skip
    assert standing(readings) == [NOTHING, NOTHING, (LYING, 1, 10, 13), (LYING, 3, 22, -5)]
    readings = [posed("lying", 0, 160), posed("sitting", 1, 140, 85), at(1, 2, 139), posed("standing", 3, 125, 79)]
    assert standing(readings) == [NOTHING, NOTHING, NOTHING, (SITTING, 2, 15, 6)]


@pytest.mark.parametrize(
    "readings",
    [
        [posed("lying", 0, 140), posed("standing", 45, 110)],
        [posed("standing", 0, 110), posed("lying", 1, 140)],
        [posed("lying", 0, 140, site="left-upper-arm"), posed("standing", 1, 110, site="right-upper-arm")],
        [posed("lying", 0, 140), posed("standing", 1, 110, setting="office")],
        [posed(name, minute, 140 - minute, setting="ambulatory") for minute, name in enumerate(("lying", "standing"))],
        [posed("lying", 0, 140), at(1, 1, 110)],
        [posed("lying", 0, 140), posed("standing", 1, 12, 80)],
        [posed("lying", 0, 80, 140), posed("standing", 1, 30, 20)],
    ],
    ids=["another sitting", "lying down", "another arm", "another setting", "ambulatory", "position unknown",
         "digit missing", "pressures swapped"],
)  # fmt: skip
def test_no_fall_on_standing_is_read_into(readings):
    assert standing(readings) == [NOTHING, NOTHING]


@pytest.mark.parametrize("sites", [({"site": "left-upper-arm"}, {}), ({}, {"site": "left-upper-arm"})])
def test_a_site_that_was_not_recorded_may_be_the_same_arm(sites):
    readings = [posed("lying", 0, 140, **sites[0]), posed("standing", 1, 110, **sites[1])]
    assert standing(readings)[1] == (LYING, 1, 30, 0)


def test_an_irregular_pulse_of_one_reading_is_one_of_the_sitting():
    irregular = {"device_status": {"irregular_pulse": True}}
    regular = {"device_status": {"irregular_pulse": False}}
    assert facts([at(1, 0, 120, **regular), at(1, 5, 121, **irregular)], "sitting")["sitting_irregular_pulse"] == [1]
    assert facts([at(1, 0, 120, **regular), at(1, 5, 121)], "sitting")["sitting_irregular_pulse"] == [0]
    assert unknown(facts([at(1, 0, 120)], "sitting")["sitting_irregular_pulse"])


def test_repeats_of_another_arm_or_posture_are_not_alike():
    def alike(*readings):
        return facts(list(readings), "sitting")["sitting_alike"].tolist()

    assert alike(on("left", 1, 0, 120), on("left", 1, 2, 120), at(1, 4, 120)) == [1]
    assert alike(on("left", 1, 0, 120), on("right", 1, 2, 120)) == [0]
    assert alike(posed("sitting", 0, 120), at(1, 1, 120), posed("standing", 2, 120)) == [0]


def test_first_readings_at_home_are_held_against_second_ones_sitting_by_sitting():
    # 120 - 131 and 150 - 141; one reading alone, two arms, two postures, the office and what is unusable do not count.
    readings = [at(1, 0, 120), at(1, 2, 131), at(1, 4, 90), at(2, 0, 160, selected_from=9), at(2, 2, 150), at(2, 4, 141),
                at(3, 0, 140), on("left", 4, 0, 150), on("right", 4, 2, 120), at(5, 0, 150, setting="office"),
                at(5, 2, 120, setting="office"), at(6, 0, 150, technique={"body_position": "lying"}),
                at(6, 2, 120, technique={"body_position": "standing"})]  # fmt: skip
    found = facts(readings)
    assert (found["home_repeated_sittings"][0], found["home_first_minus_second_systolic"][0]) == (2, -1)
    assert facts([on("left", 1, 0, 150), at(1, 2, 120)])["home_first_minus_second_systolic"][0] == 30
    assert facts([at(1, 0, 150), on("left", 1, 2, 120)])["home_first_minus_second_systolic"][0] == 30
    assert unknown(facts([at(3, 0, 140)])["home_first_minus_second_systolic"])


def test_a_plain_week_has_none_of_it():
    found = facts(week(device="d-1")["readings"], devices=DEVICES)
    assert (found["longest_same_run"][0], found["arm_sittings"][0], found["home_kept_devices"][0]) == (1, 0, 1)
    assert unknown(found["home_end_digit_chi2"])
