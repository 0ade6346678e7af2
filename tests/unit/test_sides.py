"""Sides: each with limits of its own, fit to be compared or not, and taken away only by what leans on it."""

import json
from pathlib import Path

import numpy as np
import pytest

from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.conclusions.conclude import conclude
from heartlevel.ruling.effects.fitness import READS_EITHER, READS_HIGH, READS_LOW, _leans
from rules.test_layers import layer
from support import answer, average, demo_answers, reading, rules, rules_fired, week
from unit.test_ambulatory import worn
from unit.test_batch import assessed

SEATED = {"technique": {"body_position": "sitting"}}


def office(*pairs, day: str = "2026-03-10", hour: int = 10, **more) -> list[dict]:
    return [
        reading(f"{day}T{hour}:{2 * at:02d}:00+01:00", *pair, **{"setting": "office", **more})
        for at, pair in enumerate(pairs)
    ]


def with_readings(payload: dict, *readings: dict, **more) -> dict:
    return {**payload, "readings": [*payload["readings"], *readings], **more}


def side(found: dict, name: str) -> dict:
    (mine,) = [one for one in found["sides"] if one["side"] == name]
    return mine


def test_attended_and_unattended_office_readings_are_never_one_mean():
    alone = {"taken_by": "unattended"}
    payload = with_readings(week(), *office((150, 94), (146, 92)), *office((132, 82), (130, 80), hour=11, **alone))
    found = answer(payload)
    assert average(found, "office")["systolic"]["mean"] == 148.0
    assert average(found, "office-unattended")["systolic"]["mean"] == 131.0
    assert side(found, "office-attended")["readings"] == side(found, "office-unattended")["readings"] == 2
    assert found["pattern"]["between"] == ["office-attended", "home"]


# source: Hypertension Canada guidelines, 2017 to 2020: automated office 135/85, attended 140/90
@pytest.mark.parametrize(("systolic", "taken_by", "raised"), [(134, "unattended", False), (135, "unattended", True),
                                                              (139, "staff", False), (140, "staff", True)])  # fmt: skip
def test_unattended_office_readings_have_their_own_limit(systolic, taken_by, raised):
    pairs = office((systolic, 78), (systolic, 78), (systolic, 78), taken_by=taken_by)
    found = answer({"subject": {"id": "s", "age_years": 50}, "readings": pairs,
                    "options": {"guideline": "hypertension-canada-2020"}})["classification"]  # fmt: skip
    assert (found["raised"], found["side"] == "office-unattended") == (raised, taken_by == "unattended")


def test_ambulatory_averages_stand_first_and_nobody_with_them_is_told_to_measure_more():
    few = week(1)
    payload = with_readings(worn((142, 88), (122, 72), guideline="esh-2023"), *few["readings"])
    found = answer(payload)
    assert (found["classification"]["side"], found["classification"]["category"]) == ("ambulatory-24h", "hypertension")
    assert not rules_fired(found) & {"too-few-home-readings", "no-home-readings"}
    assert not {step["code"] for step in found["next_steps"]} & {"complete-the-protocol", "confirm-out-of-office"}
    assert [one["code"] for one in side(found, "home")["reasons"] if one["takes_away"]] == ["too-few-readings"]


# source: ESH 2021: 24 hours 130/80, day 135/85, night 120/70 (the night from memory)
@pytest.mark.parametrize(
    ("day", "night", "decides", "category"),
    [((133, 83), (119, 69), "ambulatory-24h", "below-threshold"), ((142, 88), (119, 69), "ambulatory-24h", "hypertension"),
     ((135, 84), (100, 60), "ambulatory-day", "hypertension"), ((128, 76), (121, 69), "ambulatory-night", "hypertension")],
)  # fmt: skip
def test_the_part_that_is_raised_decides(day, night, decides, category):
    found = answer(worn(day, night, guideline="esh-2023"))["classification"]
    assert (found["side"], found["category"]) == (decides, category)


def test_a_part_without_a_published_limit_decides_nothing():
    found = answer(worn((134, 84), (134, 84), guideline="nice-ng136"))
    assert (found["classification"]["side"], found["classification"]["category"]) == ("ambulatory-day", "below-threshold")
    away = [one["code"] for one in side(found, "ambulatory-night")["reasons"] if one["takes_away"]]
    assert away == ["no-limit-published"]


# A reason takes away what leans on it: what reads high what is raised, what reads low what is not.
@pytest.mark.parametrize(
    ("reads", "raised", "leans"),
    [(READS_HIGH, 1, True), (READS_HIGH, 0, False), (READS_LOW, 1, False), (READS_LOW, 0, True), (READS_EITHER, 1, True),
     (READS_EITHER, 0, True), (READS_HIGH, float("nan"), True)],
)  # fmt: skip
def test_a_reason_leans_on_what_it_would_make_the_side_say(reads, raised, leans):
    assert _leans(np.array([reads]), np.array([float(raised)])).tolist() == [leans]


# source: 0.78 mmHg a centimetre (1060 kg/m3): 15 cm are 11.7; an arm at -10 adds 7.8
@pytest.mark.parametrize(("centimetres", "fit"), [(-5, True), (-15, False), (5, True), (15, True)])
def test_a_raised_average_is_taken_away_by_an_arm_so_low_that_it_would_not_be_raised(centimetres, fit):
    payload = week(pressures=((138, 70), (138, 70)), technique={"arm_height_cm": centimetres})
    assert side(answer(payload), "home")["fit"] is fit


def test_one_more_fault_that_reads_the_other_way_makes_no_side_fit():
    low = {"arm_height_cm": -15}
    payload = week(pressures=((138, 70), (138, 70)), technique=low)
    assert side(answer(payload), "home")["fit"] is False
    wide = [{"id": "d", "cuff": {"bladder_width_cm": 20}}]
    both = {**week(pressures=((138, 70), (138, 70)), technique=low, device="d", site="left-upper-arm"), "devices": wide}
    both["subject"]["arm_circumference_cm"] = {"left": 30}
    assert side(answer(both), "home")["fit"] is False


def test_a_week_of_an_arm_to_avoid_names_no_category():
    payload = week(site="left-upper-arm")
    payload["subject"]["avoid_arms"] = ["left"]
    found = answer(payload)
    assert (found["classification"]["category"], found["classification"]["reason"]) == (None, "no-side-fit")


def test_a_share_below_the_rules_takes_nothing_away():
    payload = week(site="right-upper-arm")
    payload["subject"]["avoid_arms"] = ["left"]
    for one in payload["readings"][:13]:
        one["site"] = "left-upper-arm"
    assert side(answer(payload), "home")["fit"]
    payload["readings"][13]["site"] = "left-upper-arm"
    assert not side(answer(payload), "home")["fit"]


# source: limits are common practice: 90 days for home and office, a year for an ambulatory measurement
@pytest.mark.parametrize(("as_of", "fit"), [("2026-06-08", True), ("2026-06-09", False)])
def test_office_readings_are_out_of_date_after_ninety_days(as_of, fit):
    payload = with_readings(week(), *office((146, 92), (144, 90)), options={"as_of": as_of})
    assert side(answer(payload), "office-attended")["fit"] is fit


@pytest.mark.parametrize(("as_of", "decides"), [("2027-03-03", "ambulatory-24h"), ("2027-03-05", None)])
def test_an_ambulatory_measurement_stands_first_for_a_year(as_of, decides):
    assert answer(worn(as_of=as_of))["classification"].get("side") == decides


def test_every_reason_of_a_side_names_its_finding_and_says_it_in_words():
    for found in demo_answers():
        names = {finding["id"]: finding["rule"] for finding in found["findings"]}
        for one in (reason for mine in found["sides"] for reason in mine["reasons"]):
            assert one["text"], one
            assert one["finding"] is None or names[one["finding"]] == one["code"]


def test_a_pattern_is_named_where_both_sides_are_fit_and_only_there():
    for found in demo_answers():
        unfit = found["pattern"]["unfit"]
        assert (found["pattern"]["label"] == "undetermined") == bool(unfit) == (found["pattern"]["between"] is None)
        assert all(one["codes"] for one in unfit)
        for name in found["pattern"]["between"] or ():
            assert side(found, name)["fit"]


def test_a_side_names_a_category_only_where_nothing_takes_it_away():
    for found in demo_answers():
        for mine in found["sides"]:
            excluded = any(one["takes_away"] and one["consequence"] == "excludes" for one in mine["reasons"])
            assert (mine["category"] is None) == excluded, (found["subject"], mine)


def test_who_has_no_reason_against_a_side_has_none_in_columns():
    payload = week()
    for at, one in enumerate(payload["readings"]):
        one["systolic"] += at * 5 % 13  # values that repeat themselves would weaken the side
    whole = conclude(assessed(payload))
    assert (whole.objections, whole.unfit) == ([{}], [[("office-attended", ["not-measured"])]])


@pytest.mark.parametrize(
    ("change", "fault"),
    [("[{does: excludes, sides: [home], reads: upwards}]", "unknown-name"),
     ("[{does: excludes, sides: [home], reads: home_readings}]", "unknown-name"),
     ("[{does: excludes, sides: [home], reads: high, share: 0.5}]", "wrong-value"),
     ("[{does: forbids, sides: [home], reads: high}]", "not-one-of"),
     ("[{does: excludes, sides: [garden], reads: high}]", "not-one-of"),
     ("[{does: excludes, sides: [], reads: high}]", "too-few")],
)  # fmt: skip
def test_a_mistake_in_a_consequence_is_named(tmp_path: Path, change: str, fault: str):
    folder = layer(tmp_path, f"{{of: rule, id: home-devices-mixed, set: {{consequence: {change}}}, reason: x}}")
    with pytest.raises(RuleFaults) as refused:
        Rules.load(None, (folder,))
    assert [one.code for one in refused.value.faults] == [fault]


def test_a_layer_makes_of_a_weakness_what_takes_a_side_away(tmp_path: Path):
    payload = week()
    for at, one in enumerate(payload["readings"]):
        one["device"] = f"d-{at % 2}"
    assert side(answer(payload), "home")["fit"]
    stricter = "[{does: excludes, sides: [home], reads: either}]"
    folder = layer(tmp_path, f"{{of: rule, id: home-devices-mixed, set: {{consequence: {stricter}}}, reason: One device}}")
    found = answer_to(payload, Rules.load(None, (folder,)))
    assert (side(found, "home")["fit"], found["classification"]["category"]) == (False, None)


def test_consequences_of_readings_and_sittings_say_from_which_share_on(tmp_path: Path):
    lacking = "[{does: weakens, sides: [home], reads: either}]"
    folder = layer(tmp_path, f"{{of: rule, id: device-not-validated, set: {{consequence: {lacking}}}, reason: x}}")
    with pytest.raises(RuleFaults) as refused:
        Rules.load(None, (folder,))
    assert [one.code for one in refused.value.faults] == ["wrong-value"]


def own_day(hours: tuple[int, ...], **subject) -> dict:
    readings = [reading(f"2026-03-{day:02d}T{hour:02d}:{minute:02d}:00+01:00", 126, 78)
                for day in range(2, 9) for hour in hours for minute in (0, 1)]  # fmt: skip
    return {"subject": {"id": "s", "age_years": 41, **subject}, "readings": readings}


@pytest.mark.parametrize(
    ("hours", "subject", "mornings", "evenings"),
    [
        ((17, 2), {}, 0, 7),
        ((17, 2), {"usual_waking": "16:00", "usual_sleep": "08:00"}, 7, 7),
        ((17, 2), {"usual_waking": "16:00"}, 7, 7),
        ((17, 2), {"usual_sleep": "08:00"}, 7, 7),
        ((7, 20), {"usual_waking": "06:30", "usual_sleep": "22:30"}, 7, 7),
        ((7, 20), {"usual_waking": "11:59"}, 7, 7),
        ((13, 2), {"usual_waking": "12:00:00", "usual_sleep": "04:00"}, 7, 7),
    ],
)
def test_the_day_is_the_persons_own(hours, subject, mornings, evenings):
    coverage = answer(own_day(hours, **subject))["coverage"]
    assert (coverage["mornings"], coverage["evenings"]) == (mornings, evenings)
    assert set(coverage["by_hour"]) == {str(hour) for hour in hours}


def test_readings_before_and_after_midnight_are_of_one_own_day():
    """At 1 o'clock the own day of the date before still runs: seven dates are parts of eight own days."""
    hours = (23, 1)
    assert answer(own_day(hours, usual_waking="16:00", usual_sleep="08:00"))["coverage"]["days"] == 8
    assert answer(own_day(hours))["coverage"]["days"] == 7


def test_no_reading_is_dated_after_the_assessment_because_of_an_own_day():
    early = own_day((20,), usual_waking="01:00", usual_sleep="17:00")
    found = answer({**early, "options": {"as_of": "2026-03-08"}})
    assert "dated-after-assessment" not in rules_fired(found)


@pytest.mark.parametrize("written", ["7:30", "24:00", "07.30", "", 7])
def test_a_time_of_day_that_cannot_be_read_is_a_problem_of_its_own(written):
    found = answer(own_day((7, 20), usual_waking=written))
    (problem,) = found["problems"]
    assert problem["pointer"] == "/subject/usual_waking"
    assert problem["code"] in ("not-a-time-of-day", "text-length", "not-a-text")
    assert found["classification"]["category"]


def test_the_demo_names_what_a_next_step_mends():
    (found,) = [one for one in demo_answers() if one["subject"]["id"] == "s-40"]
    assert "check-office-device" in {step["code"] for step in found["next_steps"]}
    assert json.dumps(found["pattern"]["unfit"]) == '[{"side": "office-unattended", "codes": ["office-device-disagrees"]}]'
    assert rules().ruleset.rules["comparison"]


def test_what_is_taken_away_is_no_category_of_the_pattern_either():
    payload = with_readings(week(pressures=((150, 92), (150, 92))), *office((128, 78), (126, 77)))
    assert answer(payload)["pattern"]["home"] == "stage-2"
    assert answer({**payload, "options": {"as_of": "2026-06-30"}})["pattern"]["home"] is None
    few = answer({**payload, "readings": payload["readings"][:4]})
    assert few["pattern"]["home"] == "stage-2"  # so far, and too few for a category
