"""What technique that nobody recorded, and a population known beforehand, make of how sure a category is."""

import pytest

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


def too_high(payload: dict) -> tuple[float, float]:
    found = classified(payload)["with_usual_errors"]["too_high_by"]
    return found["systolic"]["mean"], found["diastolic"]["mean"]


def test_where_nothing_is_recorded_the_published_excess_in_all_is_expected():
    assert too_high(uneven(options=FIRST_DAY_OUT)) == pytest.approx(IN_ALL, abs=0.051)


def test_where_everything_is_recorded_as_right_nothing_of_technique_is_expected():
    found = classified(uneven(RIGHT, FIRST_DAY_OUT))
    usual = found["with_usual_errors"]
    nothing = {"mean": 0.0, "sd": 0.0}
    assert usual["too_high_by"] == {"systolic": nothing, "diastolic": nothing}
    assert usual["category_probability"] == found["category_probability"]
    assert usual["probability_at_or_above"] == found["probability_at_or_above"]


def test_a_first_day_that_is_averaged_is_known_to_be_higher():
    assert too_high(uneven(RIGHT)) == pytest.approx([one / 7 for one in FIRST_DAY], abs=0.051)


def test_each_detail_left_out_makes_the_mean_less_sure():
    spreads = []
    for left_out in range(len(RIGHT) + 1):
        recorded = dict(list(RIGHT.items())[left_out:])
        found = classified(uneven(recorded, FIRST_DAY_OUT))["with_usual_errors"]["too_high_by"]["diastolic"]
        spreads.append((found["mean"], found["sd"]))
    assert spreads == sorted(spreads)
    assert spreads[0] == (0.0, 0.0)
    assert spreads[-1][1] > 1


def test_a_fault_that_was_found_counts_more_than_one_that_may_be_there():
    crossed, unknown = RIGHT | {"legs_crossed": True}, {name: RIGHT[name] for name in RIGHT if name != "legs_crossed"}
    found, possible = (too_high(uneven(one, FIRST_DAY_OUT))[0] for one in (crossed, unknown))
    # The usual faults' middles, 69.5 in all, at 0.32 each are scaled to 8.36; that of crossed legs is 8.695.
    assert found == pytest.approx(8.695 * 8.36 / (0.32 * 69.5), abs=0.06)
    assert possible == pytest.approx(0.32 * found, abs=0.06)


def test_a_fault_in_half_of_the_readings_counts_by_half():
    payload = uneven(RIGHT | {"legs_crossed": True}, FIRST_DAY_OUT)
    whole = too_high(payload)[0]
    for one in payload["readings"][::2]:
        one["technique"] = RIGHT
    assert too_high(payload)[0] == pytest.approx(whole / 2, abs=0.06)


def test_the_measured_height_of_the_arm_counts_in_full_and_its_level_is_then_not_unknown():
    technique = {name: RIGHT[name] for name in RIGHT if name != "arm_level"} | {"arm_height_cm": -10}
    assert too_high(uneven(technique, FIRST_DAY_OUT)) == (7.8, 7.8)


def test_readings_that_a_trained_person_took_at_home_have_only_the_faults_that_were_found():
    assert too_high(uneven(options=FIRST_DAY_OUT, taken_by="staff")) == (0.0, 0.0)
    assert too_high(uneven({"talking": True}, FIRST_DAY_OUT, taken_by="staff"))[0] > 3


def test_a_mean_barely_raised_is_less_probably_raised_if_technique_was_as_usual():
    found = classified(uneven())
    assert found["category"] == "stage-1"
    limit = "130/80"
    assert found["probability_at_or_above"][limit] > 0.5 > found["with_usual_errors"]["probability_at_or_above"][limit]


def visits(*days: int, systolic: float = 150, diastolic: float = 60) -> dict:
    readings = [reading(f"2026-03-{day:02d}T10:0{place}:00+01:00", systolic, diastolic, setting="office", taken_by="staff")
                for day in days for place in range(3)]  # fmt: skip
    return {"subject": {"id": "s", "age_years": 50}, "readings": readings}


def test_three_office_visits_alike_are_less_sure_than_they_look():
    # Their own spread is nil; the published 10.8 weighs twice as much: √(4 · 10.8² / 6 / 3) = 5.09, t with 6 degrees.
    chance = classified(visits(2, 4, 6, systolic=133))["probability_at_or_above"]["130/80"]
    assert chance == pytest.approx(0.711, abs=0.002)


def test_fewer_than_three_office_visits_still_have_no_probability():
    found = classified(visits(2, 4))
    assert (found["category"], found["category_probability"]) == ("stage-2", None)


def test_an_office_average_has_no_usual_errors():
    found = classified(visits(2, 4, 6))
    assert found["setting"] == "office"
    assert "with_usual_errors" not in found


def test_fewer_than_three_days_give_no_probability_and_say_why():
    few = [reading(f"2026-03-0{day}T07:0{place}:00+01:00", 131, 82) for day in (1, 2) for place in range(6)]
    protocol = {"guideline": "acc-aha-2017"}
    found = classified({"subject": {"id": "s", "age_years": 50}, "readings": few, "options": protocol})
    usual = found["with_usual_errors"]
    assert (usual["category_probability"], usual["no_probability"]) == (None, "fewer-than-3-days")
    assert usual["probability_at_or_above"] == {}


def test_a_known_population_draws_probabilities_towards_it_and_moves_nothing_else():
    near = ((126, 70), (124, 70))
    plain, known = (answer(uneven(RIGHT, FIRST_DAY_OUT | one, pressures=near)) for one in ({}, {"population": PEOPLE}))
    assert known["made_with"]["population"] == PEOPLE
    assert plain["made_with"]["population"] is None
    of_plain, of_known = plain["classification"], known["classification"]
    assert of_known["probability_at_or_above"]["130/80"] < of_plain["probability_at_or_above"]["130/80"] - 0.01
    for one in (of_plain, of_known):
        for name in ("probability_at_or_above", "category_probability", "with_usual_errors"):
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
