"""What technique that nobody recorded, and a population known beforehand, make of how sure a category is."""

import pytest
from scipy.stats import t

from heartlevel import RefusedRequest, answer_to
from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from support import answer, reading, rules, rules_fired, week

RIGHT = {"rested_minutes": 5, "legs_crossed": False, "back_supported": True, "arm_supported": True, "arm_level": "heart",
         "talking": False, "cuff_mark_in_range": True, "full_bladder": False}  # fmt: skip
FIRST_DAY_OUT = {"protocol": "nice-ng136"}
IN_ALL, FIRST_DAY = (8.36, 2.16), (2.8, 1.4)  # rules/ruleset.yaml
PEOPLE = {"systolic": {"mean": 118, "sd": 12}, "diastolic": {"mean": 74, "sd": 8}, "correlation": 0.6}


def uneven(technique: dict | None = None, options: dict | None = None, **more) -> dict:
    """A week whose days differ, near the limit of 130."""
    payload = week(options=options, technique=technique or {}, **more)
    for place, one in enumerate(payload["readings"]):
        one["systolic"] += 5 * (place // 4) % 11
    return payload


def classified(payload: dict) -> dict:
    return answer(payload)["classification"]


def errors(payload: dict) -> dict[str, dict]:
    return {one["code"]: one for one in classified(payload)["errors_in_it"]}


def too_high(payload: dict, *codes: str) -> tuple[float, float]:
    """What errors come to in all, the first day's left out unless it is asked for."""
    named = [one for code, one in errors(payload).items() if (code in codes if codes else code != "first-day")]
    return tuple(sum(one[name]["mean"] for one in named) for name in ("systolic", "diastolic"))


def test_where_nothing_is_recorded_the_published_excess_in_all_is_expected():
    assert too_high(uneven(options=FIRST_DAY_OUT)) == pytest.approx(IN_ALL, abs=0.051)


def test_where_everything_is_recorded_as_right_and_the_device_checked_the_figures_are_those_as_measured():
    payload = uneven(RIGHT, FIRST_DAY_OUT, device="d-1") | {"devices": [{"id": "d-1", "checked_on": "2026-02-01"}]}
    found = classified(payload)
    assert found["errors_in_it"] == found["sharpened_by"] == []
    of_measured = found["as_measured"]
    assert of_measured["category_probability"] == found["category_probability"]
    assert of_measured["probability_at_or_above"] == found["probability_at_or_above"]


def test_a_first_day_that_is_averaged_is_known_to_be_higher():
    assert too_high(uneven(RIGHT), "first-day") == pytest.approx([one / 7 for one in FIRST_DAY], abs=0.051)
    assert "first-day" not in errors(uneven(RIGHT, FIRST_DAY_OUT))


def test_each_detail_left_out_makes_the_mean_less_sure():
    spreads = []
    for left_out in range(len(RIGHT) + 1):
        recorded = dict(list(RIGHT.items())[left_out:])
        found = errors(uneven(recorded, FIRST_DAY_OUT)).get("unrecorded-technique", {"diastolic": {"mean": 0, "sd": 0}})
        spreads.append((found["diastolic"]["mean"], found["diastolic"]["sd"]))
    assert spreads == sorted(spreads)
    assert spreads[0] == (0.0, 0.0)
    assert spreads[-1][1] > 1


def test_a_fault_that_was_found_counts_by_its_published_size_and_one_that_may_be_there_by_less():
    crossed, unknown = RIGHT | {"legs_crossed": True}, {name: RIGHT[name] for name in RIGHT if name != "legs_crossed"}
    found, possible = (too_high(uneven(one, FIRST_DAY_OUT))[0] for one in (crossed, unknown))
    # Crossed legs: 2.5 to 14.89, their middle 8.695. The usual faults' middles, 69.5 in all, at 0.32 each come to 8.36.
    assert found == pytest.approx(8.695, abs=0.06)
    assert possible == pytest.approx(8.695 * 8.36 / 69.5, abs=0.06)
    (fault,) = (one for one in classified(uneven(crossed, FIRST_DAY_OUT))["errors_in_it"] if one["known"])
    assert (fault["code"], fault["reads"]) == ("legs-crossed", "high")
    # A uniform distribution over the range (arithmetic).
    assert fault["systolic"]["sd"] == pytest.approx((14.89 - 2.5) / 12**0.5, abs=0.051)


def test_of_two_faults_the_stronger_counts_in_full_and_the_other_by_what_faults_come_to_together():
    both = too_high(uneven(RIGHT | {"legs_crossed": True, "talking": True}, FIRST_DAY_OUT))[0]
    talking, crossed, together = 11.5, 8.695, 8.36 / (0.32 * 69.5)
    assert both == pytest.approx(talking + crossed * together, abs=0.06)


def test_a_fault_in_half_of_the_readings_counts_by_half():
    payload = uneven(RIGHT | {"legs_crossed": True}, FIRST_DAY_OUT)
    whole = too_high(payload)[0]
    for one in payload["readings"][::2]:
        one["technique"] = RIGHT
    assert too_high(payload)[0] == pytest.approx(whole / 2, abs=0.06)


def test_the_measured_height_of_the_arm_counts_in_full_and_its_level_is_then_not_unknown():
    technique = {name: RIGHT[name] for name in RIGHT if name != "arm_level"} | {"arm_height_cm": -10}
    assert too_high(uneven(technique, FIRST_DAY_OUT)) == (7.8, 7.8)
    assert errors(uneven(technique, FIRST_DAY_OUT))["cuff-below-heart"]["known"] is True


def test_readings_that_a_trained_person_took_at_home_have_only_the_faults_that_were_found():
    assert not errors(uneven(options=FIRST_DAY_OUT, taken_by="staff"))
    assert too_high(uneven({"talking": True}, FIRST_DAY_OUT, taken_by="staff"))[0] > 3


def test_a_mean_barely_raised_is_less_probably_raised_if_technique_was_as_usual():
    found = classified(uneven())
    assert found["category"] == "stage-1"
    limit, measured = "130/80", found["as_measured"]["probability_at_or_above"]
    assert measured[limit] > 0.5 > found["probability_at_or_above"][limit]
    assert (found["sureness"], found["holds"]) == ("cannot-be-told", False)


def checked(*differences: tuple[float, float]) -> dict:
    """A week with a device that a check found so far above the reference, all else right."""
    reference = {"systolic": 130, "diastolic": 80}
    pairs = [{"device": {"systolic": 130 + systolic, "diastolic": 80 + diastolic}, "reference": reference}
             for systolic, diastolic in differences]  # fmt: skip
    check = {"device_checks": [{"device": "d-1", "pairs": pairs}], "devices": [{"id": "d-1"}]}
    return uneven(RIGHT, FIRST_DAY_OUT, device="d-1") | check


def test_a_device_known_to_read_high_is_taken_off_with_the_width_of_its_check():
    found = errors(checked((2, 0), (4, 2), (6, 4), (4, 2)))["device-check"]
    assert (found["known"], found["reads"], found["systolic"]["mean"], found["diastolic"]["mean"]) == (True, "high", 4, 2)
    # The standard error of a mean (arithmetic): differences 2, 4, 6, 4.
    assert found["systolic"]["sd"] == pytest.approx((8 / 3) ** 0.5 / 2, abs=0.051)
    assert "unchecked-device" not in errors(checked((2, 4), (4, 6)))


def test_one_comparison_leaves_the_device_as_unsure_as_any():
    assert errors(checked((12, 6)))["device-check"]["systolic"] == {"mean": 12.0, "sd": 4.8}


def test_the_answer_never_says_1_in_one_block_and_0_in_another():
    high = classified(uneven(RIGHT | {"arm_height_cm": -15}, FIRST_DAY_OUT))
    assert high["probability_at_or_above"]["130/80"] < high["as_measured"]["probability_at_or_above"]["130/80"]
    assert "with_usual_errors" not in high


def test_where_nothing_is_published_of_a_fault_in_half_the_readings_there_is_no_probability_and_it_says_why():
    payload = uneven(RIGHT)
    for one in payload["readings"][:13]:
        one["technique"] = RIGHT | {"cuff_mark_over_artery": False}
    assert "no_probability" not in classified(payload)
    payload["readings"][13]["technique"] = RIGHT | {"cuff_mark_over_artery": False}
    found = classified(payload)
    assert (found["category_probability"], found["no_probability"]) == (None, "error-of-unknown-size")
    assert (found["sureness"], found["holds"], found["category"]) == ("cannot-be-told", False, "stage-1")
    assert found["as_measured"]["category_probability"]
    (fault,) = (one for one in found["errors_in_it"] if one["code"] == "cuff-mark-off-artery")
    assert (fault["known"], fault["reads"]) == (True, "either")
    assert "systolic" not in fault


def test_the_two_questions_that_would_sharpen_it_most_are_not_asked_again_once_answered():
    asked, answered = [], {}
    for _ in range(4):
        found = classified(uneven(answered))["sharpened_by"]
        assert len(found) == 2
        assert not set(found) & set(answered)
        asked.append(found)
        answered |= {name: RIGHT[name] for name in found if name in RIGHT}
    assert asked[0] == ["device_check", "full_bladder"]  # the widest range published, and devices nobody checked


def visits(*days: int, systolic: float = 150, diastolic: float = 60) -> dict:
    readings = [reading(f"2026-03-{day:02d}T10:0{place}:00+01:00", systolic, diastolic, setting="office", taken_by="staff")
                for day in days for place in range(3)]  # fmt: skip
    return {"subject": {"id": "s", "age_years": 50}, "readings": readings}


def test_three_office_visits_alike_are_less_sure_than_they_look():
    # Their own spread is nil, with two degrees of freedom; the published 10.8 is the root of a mean variance, 7/5 of what
    # the scale of Student's t with 7 is, squared: √(7 · 5/7 · 10.8² / 9 / 3) = 4.65, and t with 9 degrees.
    chance = classified(visits(2, 4, 6, systolic=133))["probability_at_or_above"]["130/80"]
    assert chance == pytest.approx(t.sf(-3 / (10.8 * (5 / 9 / 3) ** 0.5), 9), abs=0.002)


def test_one_office_visit_has_a_probability_by_how_visits_usually_differ():
    # Two visits alike: √(7 · 5/7 · 10.8² / 8 / 2), and Student's t with 8 degrees of freedom; diastolic far below.
    chance = classified(visits(2, 4, systolic=133) | {"options": {}})["probability_at_or_above"]["130/80"]
    assert chance == pytest.approx(t.sf(-3 / (10.8 * (5 / 8 / 2) ** 0.5), 8), abs=0.002)


def test_routine_office_readings_nobody_documented_are_expected_to_be_high_and_staff_s_are_not():
    routine = visits(2, 4, 6)
    for one in routine["readings"]:
        del one["taken_by"]
    assert too_high(routine)[0] == pytest.approx(7.5, abs=0.06)
    assert classified(visits(2, 4, 6))["errors_in_it"] == []


def test_one_day_at_home_has_a_probability_by_how_days_usually_differ():
    few = [reading(f"2026-03-01T07:0{place}:00+01:00", 131, 82) for place in range(6)]
    payload = {"subject": {"id": "s", "age_years": 50}, "readings": few, "options": {"protocol": "esc-2024"}}
    home = next(one for one in answer(payload)["averages"] if one["basis"] == "protocol")["systolic"]
    assert (home["interval95"], home["no_interval"]) == (None, "fewer-than-3-days")
    low, high = home["interval95_long_run"]
    assert low < 131 - 2.8 < high


def test_a_known_population_draws_probabilities_towards_it_and_moves_nothing_else():
    near = ((126, 70), (124, 70))
    plain, known = (answer(uneven(RIGHT, FIRST_DAY_OUT | one, pressures=near)) for one in ({}, {"population": PEOPLE}))
    assert known["made_with"]["population"] == PEOPLE
    assert plain["made_with"]["population"] is None
    of_plain, of_known = plain["classification"], known["classification"]
    assert of_known["probability_at_or_above"]["130/80"] < of_plain["probability_at_or_above"]["130/80"] - 0.01
    for one in (of_plain, of_known):
        for name in ("probability_at_or_above", "category_probability", "as_measured", "sureness", "certainty", "holds"):
            del one[name]
    assert of_known == of_plain
    assert known["averages"] == plain["averages"]
    assert rules_fired(known) == rules_fired(plain)


def test_one_request_s_population_is_not_another_s():
    payloads = [uneven(RIGHT), uneven(RIGHT, {"population": PEOPLE}), uneven(RIGHT)]
    together = assess_requests([read(one, rules().ruleset.choices) for one in payloads], rules())
    alone = [assess_requests([read(one, rules().ruleset.choices)], rules()) for one in payloads]
    size = len(together.sureness.probabilities.of_limit) // 3
    for place, one in enumerate(alone):
        mine = slice(place * size, (place + 1) * size)
        assert one.sureness.probabilities.of_limit == together.sureness.probabilities.of_limit[mine]


@pytest.mark.parametrize(
    ("population", "pointers"),
    [
        ({**PEOPLE, "correlation": 1}, {"/options/population/correlation"}),
        ({"systolic": {"mean": 120}, "correlation": 0.5},
         {"/options/population/systolic/sd", "/options/population/diastolic"}),
        ({**PEOPLE, "diastolic": {"mean": 74, "sd": 0}}, {"/options/population/diastolic/sd"}),
        ([], {"/options/population"}),
    ],
)  # fmt: skip
def test_a_population_at_fault_is_refused_with_all_its_places(population, pointers):
    payload = uneven(options={"population": population})
    with pytest.raises(RefusedRequest) as caught:
        answer_to(payload, rules())
    assert {one.pointer for one in caught.value.problems} == pointers
