"""The pulse at rest: averages by side, and what is slow or fast."""

import pytest

from support import answer, rules_fired
from unit.test_periods import CHANGED, home, office, request

PULSE_RULES = {"pulse-very-slow", "pulse-very-fast", "pulse-slow", "pulse-fast", "pulse-above-80-with-raised-pressure"}


def named(*blocks, **subject) -> set[str]:
    return rules_fired(answer(request(*blocks, subject=subject))) & PULSE_RULES


# source: RCP, NEWS2, 2017 (single values: 40 or less, 131 or more); ACC/AHA/HRS 2018 (below 50; from memory)
@pytest.mark.parametrize(
    ("pulse", "expected"),
    [(40, {"pulse-very-slow"}), (41, {"pulse-slow"}), (49, {"pulse-slow"}), (50, set()), (72, set()), (100, set()),
     (101, {"pulse-fast"}), (130, {"pulse-fast"}), (131, {"pulse-very-fast"})],
)  # fmt: skip
def test_a_pulse_is_named_at_its_limits(pulse, expected):
    assert named(home("2026-03-02", 7, 124, 76, pulse=pulse)) == expected
    assert named(home("2026-03-02", 7, 124, 76, pulse=pulse), age_years=12) == set()


def test_one_odd_pulse_among_many_is_nothing():
    readings = home("2026-03-02", 7, 124, 76, pulse=72)
    readings[3]["pulse"] = 38
    readings[9]["pulse"] = 140
    assert named(readings) == set()
    readings[2]["pulse"] = 39  # the other reading of that sitting
    assert named(readings) == {"pulse-very-slow"}


def test_home_comes_before_office_and_a_missing_pulse_says_nothing():
    assert named(home("2026-03-02", 7, 124, 76), office("2026-03-10", 124, 76, pulse=110)) == {"pulse-fast"}
    both = (home("2026-03-02", 7, 124, 76, pulse=80), office("2026-03-10", 124, 76, pulse=110))
    assert named(*both) == set()
    assert named(home("2026-03-02", 7, 124, 76)) == set()


@pytest.mark.parametrize(("pulse", "systolic", "there"), [(80, 150, False), (81, 150, True), (81, 120, False)])
def test_above_eighty_counts_beside_a_raised_office_pressure_only(pulse, systolic, there):
    # source: ESH consensus on resting heart rate, 2016 (from memory): above 80 in people with hypertension
    visits = [*office("2026-03-02", systolic, 70, pulse=pulse), *office("2026-03-10", systolic, 70, pulse=pulse)]
    assert bool(named(visits) & {"pulse-above-80-with-raised-pressure"}) is there


def test_the_average_is_of_the_readings_averaged_and_of_the_latest_period():
    old, new = home("2026-01-05", 7, 150, 92, pulse=90), home("2026-03-02", 7, 124, 76, pulse=66)
    given = answer(request(old, new, office("2026-03-10", 130, 80, pulse=71), subject=CHANGED))
    assert given["pulse"] == {"sides": [
        {"side": "home", "mean": 66.0, "sd": 0.0, "days": 7},
        {"side": "office-attended", "mean": 71.0, "sd": 0.0, "days": 1}
    ]}  # fmt: skip
    assert answer(request(home("2026-03-02", 7, 124, 76)))["pulse"] is None
