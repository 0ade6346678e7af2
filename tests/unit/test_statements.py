"""What stands first in an answer is no surer than the data, is true of them, and says what a doctor must not miss."""

from html import unescape
from re import search

import pytest

from heartlevel.assessment import assess_requests
from heartlevel.command.summary import summary
from heartlevel.conclusions.conclude import conclude
from heartlevel.fhir.cards import cards_of
from heartlevel.handouts.patient_sheet import patient_sheet
from heartlevel.intake.request import read
from heartlevel.report.page import report_pages
from heartlevel.vocabulary import SURENESSES
from property.told import untrue
from support import answer, rules, week

SOUND = {"body_position": "sitting", "back_supported": True, "feet_flat": True, "legs_crossed": False, "talking": False,
         "arm_supported": True, "arm_level": "heart", "rested_minutes": 5, "full_bladder": False, "bare_arm": True,
         "cuff_mark_in_range": True}  # fmt: skip
PERSON = {"id": "s-1", "age_years": 50}
OPTIONS = {"guideline": "esh-2023", "as_of": "2026-03-10"}


def office(systolic: int, diastolic: int, days=("2026-03-09",), **more) -> list[dict]:
    return [{"taken_at": f"{day}T10:{minute:02d}:00+01:00", "systolic": systolic, "diastolic": diastolic,
             "setting": "office", "taken_by": "staff", **more} for day in days for minute in (0, 2, 4)]  # fmt: skip


def around_the_clock(systolic: int, diastolic: int) -> list[dict]:
    return [{"taken_at": f"2026-03-{4 + half // 24:02d}T{half % 24:02d}:{minute:02d}:00+01:00",
             "systolic": systolic - 10 * (half % 24 < 7), "diastolic": diastolic - 8 * (half % 24 < 7),
             "setting": "ambulatory", "asleep": half % 24 < 7}
            for half in range(9, 33) for minute in (0, 30)]  # fmt: skip


def concluded(readings: list[dict], subject: dict | None = None, **options) -> dict:
    found = answer({"subject": PERSON | (subject or {}), "readings": readings, "options": OPTIONS | options})
    assert untrue(found) == []
    return found


def home(systolic: int, diastolic: int, technique: dict | None = None, **more) -> list[dict]:
    same = week(7, ((systolic, diastolic),) * 2, technique=SOUND if technique is None else technique, **more)
    return [
        reading | {"systolic": systolic + number * 5 % 7 - 3, "diastolic": diastolic + number * 3 % 5 - 2}
        for number, reading in enumerate(same["readings"])
    ]


def codes(found: dict) -> list[str]:
    return [statement["code"] for statement in found["conclusion"]["statements"]]


def days_said(found: dict) -> list[int]:
    return [statement["values"]["days"] for statement in found["conclusion"]["statements"] if "days" in statement["values"]]


@pytest.mark.parametrize(("protocol", "days"), [("esh-2023", 6), ("ish-2020", 7)])
def test_an_average_is_said_to_be_over_the_days_that_it_takes(protocol, days):
    found = concluded(home(146, 91), protocol=protocol)
    assert days_said(found) == [days]
    assert f"over {days} days" in found["conclusion"]["clinician"][0] and found["sides"][0]["days"] == 7


@pytest.mark.parametrize(("later", "days"), [((), 1), ((1,), 2), ((7,), 2), ((1, 7), 3)])
def test_around_the_clock_24_hours_are_a_day_whatever_dates_they_touch(later, days):
    once = around_the_clock(142, 88)
    again = [
        reading | {"taken_at": reading["taken_at"].replace(f"-{day:02d}T", f"-{day + after:02d}T")}
        for after in later for reading in once for day in (4, 5) if f"-{day:02d}T" in reading["taken_at"]
    ]  # fmt: skip
    found = concluded([*once, *again], as_of="2026-03-14")
    assert days_said(found) == [days]
    assert f"over {days} day" in found["conclusion"]["patient"][0]


@pytest.mark.parametrize(("pressures", "code"), [((84, 52), "low"), ((112, 56), "low"), ((112, 64), "good-week")])
def test_an_average_that_is_low_is_called_low_and_no_good_week(pressures, code):
    found = concluded(home(*pressures))
    assert codes(found)[0] == code
    for reader in ("clinician", "patient"):
        assert bool(search(r"\blow\b", found["conclusion"][reader][0])) == (code == "low")


def test_a_low_number_beside_a_raised_one_is_named_by_itself():
    found = concluded(home(152, 54))
    assert codes(found)[:2] == ["raised", "low-diastolic"]
    assert "54" in found["conclusion"]["patient"][1] and "152" not in found["conclusion"]["patient"][1]


def test_what_is_almost_certain_at_home_is_said_so_though_the_pattern_of_both_is_open():
    found = concluded([*home(146, 91), *office(126, 78)])
    assert found["pattern"]["label"] == "home-only-elevation" and found["pattern"]["settled"] == "undetermined"
    assert codes(found)[:2] == ["raised", "beside-not-raised"]
    assert "almost certainly raised" in found["conclusion"]["clinician"][0]
    assert not any("numbers alone" in sentence for sentence in found["conclusion"]["patient"])


def test_on_treatment_the_target_is_said_beside_a_pattern_that_is_open():
    found = concluded([*home(146, 91), *office(126, 78)], {"on_treatment": True}, guideline="nice-ng136")
    assert codes(found) == ["raised", "beside-not-raised", "target-not-attained"]


def test_a_week_in_which_the_target_is_missed_is_no_good_one():
    treated = {"on_treatment": True}
    missed = concluded(home(122, 74), treated, target={"home": {"systolic": 110, "diastolic": 65}})
    assert codes(missed)[:2] == ["not-raised", "target-not-attained"]
    attained = concluded(home(115, 72), treated, target={"home": {"systolic": 135, "diastolic": 85}})
    assert codes(attained)[:2] == ["good-week", "target-attained"]


@pytest.mark.parametrize(
    ("technique", "code"),
    [(SOUND, "raised"), (SOUND | {"arm_height_cm": -15}, "unclear-by-errors"), ({}, "unclear-by-errors")],
    ids=["sound", "arm low", "nothing recorded"],
)  # fmt: skip
def test_an_average_well_above_the_limit_is_not_called_near_it_for_the_errors_in_it(technique, code):
    found = concluded(home(147, 89, technique))
    assert codes(found)[0] == code
    if code != "raised":
        assert "near the" not in found["conclusion"]["clinician"][0]


def test_the_error_that_is_named_first_is_one_that_is_there():
    found = concluded(home(147, 89, {**SOUND, "arm_height_cm": -15}))
    titles = {finding["rule"]: finding["title"] for finding in found["findings"]}
    reason = found["conclusion"]["statements"][0]["values"]["reason"]
    assert titles[reason] in found["conclusion"]["clinician"][0]


@pytest.mark.parametrize(("pressures", "code"), [((150, 95), "raised-by-numbers"), ((112, 72), "not-raised-by-numbers")])
def test_without_a_probability_the_person_is_told_that_the_numbers_may_be_off(pressures, code):
    found = concluded([reading | {"device_status": {"cuff_loose": True}} for reading in home(*pressures)])
    assert codes(found)[0] == code
    assert "how far it may be off" in found["conclusion"]["patient"][0]


def test_readings_of_places_without_limits_are_not_said_to_be_unusable():
    found = concluded([reading | {"setting": "pharmacy"} for reading in home(150, 95)])
    assert codes(found)[0] == "no-limits-there" and "28" in found["conclusion"]["clinician"][0]


def test_where_nothing_could_be_used_the_reason_stands_beside_it():
    assert codes(concluded([])) == ["nothing-sent"]
    picked = concluded(home(118, 74, selected_from=3))
    assert codes(picked)[0] == "nothing-usable-because" and "picked" in picked["conclusion"]["clinician"][0]
    lost = concluded([{"setting": "home", "taken_at": "2026-03-09T07:00:00+01:00", "systolic": "?", "diastolic": "?"}])
    assert codes(lost)[0] == "nothing-usable" and "received: 1" in lost["conclusion"]["clinician"][0]


def test_few_readings_around_the_clock_are_counted_among_what_was_measured():
    found = concluded(around_the_clock(132, 82)[::8])
    assert codes(found)[0] == "too-few-ambulatory" and "6 around the clock" in found["conclusion"]["clinician"][0]


def test_a_method_without_a_limit_is_not_called_unreliable():
    found = concluded([reading | {"taken_by": "unattended"} for reading in office(138, 86)])
    assert codes(found)[0] == "no-limit"
    assert not any("rel" in found["conclusion"][reader][0] for reader in ("clinician", "patient"))


def test_home_and_ambulatory_that_disagree_are_said_to():
    found = concluded([*around_the_clock(122, 74), *home(146, 91)])
    assert codes(found)[:2] == ["not-raised", "says-otherwise-raised"]
    assert codes(concluded([*around_the_clock(122, 74), *home(116, 74)]))[0] == "not-raised"
    assert not any(code.startswith("says") for code in codes(concluded([*around_the_clock(122, 74), *home(116, 74)])))


def test_pages_that_show_the_steps_tell_the_first_one_once():
    payload = {"subject": PERSON, "readings": home(150, 95), "options": OPTIONS}
    found = answer(payload)
    assert codes(found)[-1] == "first"
    step = found["next_steps"][0]["text"]
    (page,) = report_pages(conclude(assess_requests([read(payload, rules().ruleset.choices)], rules())), rules())
    (card,) = cards_of(found)
    in_lines = summary(found, rules()).replace("\n      ", " ")
    assert unescape(page.decode()).count(step) == card["detail"].count(step) == in_lines.count(step) == 1


def looks(systolic: int, **more) -> list[dict]:
    """Two looks, on two days, of a pressure before and after standing up."""
    return [reading for day in ("2026-03-03", "2026-03-05") for reading in (
        {"taken_at": f"{day}T09:00:00+01:00", "systolic": 138, "diastolic": 80, "setting": "home", "technique": SOUND},
        {"taken_at": f"{day}T09:03:00+01:00", "systolic": systolic, "diastolic": 72, "setting": "home",
         "technique": {"body_position": "standing"}})]  # fmt: skip


def test_a_fall_on_standing_is_said_and_a_look_at_it_is_no_fault_of_posture():
    found = concluded([*home(124, 76), *looks(110)], {"age_years": 80, "on_treatment": True})
    assert "falls-on-standing" in codes(found)
    assert {finding["rule"] for finding in found["findings"]} & {"standing", "standing-after-rest"} == {
        "standing-after-rest"
    }
    assert "correct-posture" not in [step["code"] for step in found["next_steps"]]
    assert "falls-on-standing" not in codes(concluded([*home(124, 76), *looks(136)], {"age_years": 80}))


def test_a_fall_on_standing_of_who_fainted_is_urgent_and_says_what_it_is():
    found = concluded([*home(124, 76), *looks(106)], {"age_years": 80, "fainting": True}, as_of="2026-03-09")
    assert found["urgency"]["level"] == "same-day" and "falls on standing" in found["urgency"]["text"]
    assert found["next_steps"][0]["code"] == "see-today"


@pytest.mark.parametrize(
    ("reading", "level", "step"),
    [({"symptoms": ["chest-pain"]}, "now", "call-emergency-services"), ({}, "same-day", "repeat-at-once"),
     ({"symptoms": []}, "within-days", "see-within-days")],
    ids=["chest pain", "not asked", "none"],
)  # fmt: skip
def test_the_first_step_is_that_of_the_level_and_never_to_wait_for_another_reading_where_help_is_to_be_called(
    reading, level, step
):
    severe = {"taken_at": "2026-03-09T12:00:00+01:00", "systolic": 192, "diastolic": 112, "setting": "home"}
    found = concluded([*home(124, 76), severe | reading])
    assert (found["urgency"]["level"], found["next_steps"][0]["code"]) == (level, step)
    if level == "now":
        assert "repeat-at-once" not in [own["code"] for own in found["next_steps"]]


def test_symptoms_alone_have_a_step_where_they_are_urgent():
    found = concluded(home(124, 76), {"symptoms": [{"symptom": "chest-pain", "on": "2026-03-08"}]})
    assert (found["urgency"]["level"], found["next_steps"][0]["code"]) == ("same-day", "see-today")


def test_a_normal_average_of_sittings_that_were_picked_from_is_not_relied_on_and_a_raised_one_is():
    def picked(systolic: int, diastolic: int) -> list[dict]:
        return [reading | ({"selected_from": 3} if number % 2 else {})
                for number, reading in enumerate(home(systolic, diastolic))]  # fmt: skip

    found = concluded(picked(118, 74))
    assert codes(found)[0] == "not-relied-on" and "picked" in found["conclusion"]["clinician"][0]
    assert found["classification"]["category"] is None and found["next_steps"][0]["code"] == "record-every-reading"
    assert codes(concluded(picked(156, 98)))[:2] == ["raised", "even-so"]
    few = concluded([*home(118, 74)[:-1], home(118, 74)[-1] | {"selected_from": 2}])
    assert few["classification"]["category"] is not None


def test_what_takes_a_side_away_is_mended_before_what_only_weakens_it():
    wrong = [{"device": {"systolic": 150 + at, "diastolic": 95}, "reference": {"systolic": 138 + at, "diastolic": 86}}
             for at in range(-8, 9)]  # fmt: skip
    crossed = [reading | {"device": "d-1", "technique": SOUND | {"legs_crossed": number % 4 == 0}}
               for number, reading in enumerate(home(146, 91))]  # fmt: skip
    found = answer({"subject": PERSON, "devices": [{"id": "d-1"}], "readings": crossed, "options": OPTIONS,
                    "device_checks": [{"device": "d-1", "pairs": wrong}]})  # fmt: skip
    assert [step["code"] for step in found["next_steps"]][:2] == ["recheck-device", "correct-posture"]


def test_a_sitting_of_one_reading_in_a_whole_week_does_not_ask_for_more_days():
    found = concluded([*home(124, 76), home(124, 76)[-1] | {"taken_at": "2026-03-08T12:00:00+01:00", "id": "alone"}])
    steps = [step["code"] for step in found["next_steps"]]
    assert "take-every-reading" in steps and "complete-the-protocol" not in steps


def test_the_same_pressures_in_kilopascals_are_told_alike():
    in_mmhg = [reading | {"systolic": reading["systolic"] + number % 2} for number, reading in enumerate(home(98, 72))]
    in_kpa = [reading | {name: reading[name] * 0.133322 for name in ("systolic", "diastolic")} | {"unit": "kPa"}
              for reading in in_mmhg]  # fmt: skip
    one, other = concluded(in_mmhg), concluded(in_kpa)
    assert one["conclusion"] == other["conclusion"] and "99/72" in one["conclusion"]["clinician"][0]


def test_of_urgent_steps_that_differ_in_how_soon_only_the_soonest_stands():
    severe = {"systolic": 192, "diastolic": 112, "setting": "home"}
    days = [severe | {"taken_at": f"2026-03-{day:02d}T12:00:00+01:00"} for day in (1, 9)]
    found = concluded([*home(124, 76), *days])
    steps = {step["code"]: step["because"] for step in found["next_steps"]}
    assert "repeat-at-once" in steps and "see-within-days" not in steps
    urgent = {finding["id"] for finding in found["findings"] if finding["urgent"]}
    assert urgent and urgent <= set(steps["repeat-at-once"])
    pain = concluded([*home(124, 76), days[0], days[1] | {"symptoms": ["chest-pain"]}])
    codes_of = {step["code"] for step in pain["next_steps"]}
    assert codes_of & {"call-emergency-services", "repeat-at-once", "see-today", "see-within-days"} == {
        "call-emergency-services"
    }


def test_a_sheet_says_of_a_raised_average_with_a_low_number_only_that_the_number_is_low():
    payload = {"subject": PERSON, "readings": home(152, 54), "options": OPTIONS}
    request = read(payload, rules().ruleset.choices)
    went = patient_sheet(request, answer(payload), rules()).went
    assert any("54, is low" in text for text in went) and not any("152/54" in text and "low" in text for text in went)


def test_a_fall_on_standing_is_said_to_who_fainted_too():
    found = concluded([*home(124, 76), *looks(106)], {"age_years": 80, "fainting": True})
    assert any("stand up" in sentence for sentence in found["conclusion"]["patient"])


@pytest.mark.parametrize(
    "fault", [{"arm_level": "below"}, {"talking": True}, {"full_bladder": True}, {"legs_crossed": True}]
)
@pytest.mark.parametrize("pressures", [(126, 79), (122, 77), (139, 88)])
def test_no_fault_of_technique_makes_a_sentence_surer(fault, pressures):
    ranks = {word: rank for rank, word in enumerate(SURENESSES)}
    sound, wrong = (
        concluded(home(*pressures, SOUND | own))["conclusion"]["statements"][0]["values"].get("sureness", "cannot-be-told")
        for own in ({}, fault)
    )
    assert ranks[wrong] <= ranks[sound]
