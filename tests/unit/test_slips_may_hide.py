"""A slip of the pen does not silence what may be an emergency: it is held for the worse of its likely meanings."""

import pytest

from support import answer, rules_fired, week


def one(systolic: float, diastolic: float, subject: dict | None = None, **more):
    payload = week(days=1)
    payload["subject"] |= {"age_years": 50, **(subject or {})}
    reading = payload["readings"][0] | {"systolic": systolic, "diastolic": diastolic, **more}
    return answer({**payload, "readings": [reading]})


@pytest.mark.parametrize(
    ("systolic", "diastolic", "more"),
    [(118, 196, {}), (100, 165, {"subject": {"pregnant": True}}), (25.3, 16.0, {}), (19, 125, {}), (19, 11, {}),
     (14, 25, {"unit": "kPa"}), (310, 190, {}), (301, 130, {}), (190, 190, {})],
)  # fmt: skip
def test_a_slip_whose_likely_meaning_is_severe_is_urgent(systolic, diastolic, more):
    found = one(systolic, diastolic, **more)
    assert found["urgent"]
    assert rules_fired(found) & {"slip-may-hide-severe", "unit-slip-may-hide-severe"}
    assert found["next_steps"][0]["code"] == ("contact-maternity-unit" if "subject" in more else "repeat-at-once")
    assert found["readings"][0]["reliability"] == "unusable"


@pytest.mark.parametrize(
    ("systolic", "diastolic", "more"), [(82, 131, {}), (17.3, 10.9, {}), (14, 9, {}), (13, 84, {}), (130, 130, {})]
)
def test_a_slip_whose_likely_meanings_are_not_severe_is_not_urgent(systolic, diastolic, more):
    found = one(systolic, diastolic, **more)
    assert not found["urgent"]


def test_a_child_is_not_called_very_low_by_the_limit_of_adults():
    assert "very-low" in rules_fired(one(78, 40))
    assert "very-low" not in rules_fired(one(78, 40, subject={"age_years": 1}))


@pytest.mark.parametrize(("right", "fires"), [(45, True), (30, False), (None, False)])
def test_a_cuff_that_fits_neither_arm_is_too_small_on_whichever_was_measured(right, fires):
    payload = week(days=1, device="d-1")
    payload["subject"]["arm_circumference_cm"] = {"left": 45, "right": right}
    payload["devices"] = [{"id": "d-1", "placement": "upper-arm", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}]
    assert ("arm-far-above-cuff-range" in rules_fired(answer(payload))) == fires
