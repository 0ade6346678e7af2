"""Last digits of systolic values: simulated honest series, rounded ones, and the critical values by another route."""

from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats

from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from support import answer, reading, rules, rules_fired

RULE = "home-end-digits-uneven"


def series(systolic):
    """A subject with these values at home, four a day."""
    return {"subject": {"id": "s-1", "age_years": 50}, "readings": [
        reading(f"2026-{1 + place // 112:02d}-{1 + place // 4 % 28:02d}T{7 + 4 * (place % 4):02d}:00:00+01:00", value, 60)
        for place, value in enumerate(systolic)
    ]}  # fmt: skip


def assessed(many):
    """The two facts of each series, and whether the rule fires."""
    found = assess_requests([read(series(one), rules().ruleset.choices) for one in many], rules())
    verdicts, facts = found.verdicts["series"], found.facts["series"]
    place = [rule.id for rule in verdicts.rules].index(RULE)
    return facts["home_end_digit_chi2"], facts["home_end_digits"], verdicts.fired()[place]


def honest(count, size=60, spread=8.0, seed=20260301):
    return np.random.default_rng(seed).normal(130, spread, (count, size))


def spread_out(counts, step):
    """Values with these counts of last digits 3·step, 4·step and so on round to 2·step, over several tens."""
    digits = [step * ((digit + 3) % len(counts)) for digit in range(len(counts))]  # round values have a rule of their own
    return [100 + 10 * (place % 4) + digit for digit, count in zip(digits, counts, strict=True) for place in range(count)]


def test_the_limits_are_those_of_chance_in_one_of_a_thousand():
    """Chi-square with 9 and 4 degrees of freedom at p = 0.001, by scipy.stats; the critical values at 0.05 and 0.01 with 9
    degrees are tabulated as 16.92 and 21.67 (quoted from memory)."""
    (rule,) = [one for one in rules().ruleset.rules["series"] if one.id == RULE]
    limits = [part["all"][1]["home_end_digit_chi2"]["above"] for part in rule.written["when"]["all"][1]["any"]]
    assert limits == pytest.approx([stats.chi2.isf(0.001, 9), stats.chi2.isf(0.001, 4)], abs=0.0005)
    assert [round(stats.chi2.isf(p, 9), 2) for p in (0.05, 0.01)] == [16.92, 21.67]


def test_the_sum_is_that_of_an_independent_computation():
    values = np.round(honest(1)[0])
    counts = np.bincount(values.astype(int) % 10, minlength=10)
    chi2, digits, _ = assessed([values.tolist()])
    assert chi2[0] == pytest.approx(stats.chisquare(counts).statistic)
    assert digits[0] == 10
    even = 2 * np.round(honest(1)[0] / 2)
    chi2, digits, _ = assessed([even.tolist()])
    assert chi2[0] == pytest.approx(stats.chisquare(np.bincount(even.astype(int) % 10 // 2, minlength=5)).statistic)
    assert digits[0] == 5


@pytest.mark.parametrize(("step", "mean"), [(1, 9), (2, 4)], ids=["every unit", "even units"])
def test_honest_series_are_flagged_no_more_often_than_by_chance(step, mean):
    """200 normal series of standard deviation 8: at one of a thousand each, more than 2 flagged has a chance of 0.1 %.
    Their chi-square has the mean of its degrees of freedom, give or take its own standard error.
    """
    chi2, _, fired = assessed((step * np.round(honest(200) / step)).tolist())
    assert fired.sum() <= 2
    assert abs(chi2.mean() - mean) < NormalDist().inv_cdf(0.9995) * np.sqrt(2 * mean / 200)


@pytest.mark.parametrize("step", [5, 10])
def test_series_rounded_to_fives_and_tens_are_flagged_once(step):
    """As rounded ones, by the exact test, and not by this one too."""
    payloads = [series(one) for one in (step * np.round(honest(20) / step)).tolist()]
    fired = [rules_fired(answer(one)) & {RULE, "home-values-rounded"} for one in payloads]
    assert fired == [{"home-values-rounded"}] * 20


@pytest.mark.parametrize(
    ("counts", "step", "chi2", "expected"),
    [
        ([6] * 10, 1, 0, False),
        ([18, 3, 4, 4, 5, 5, 5, 5, 5, 6], 1, 166 / 6, False),  # 144 + 9 + 2·4 + 5·1 over 6: 27.67, the limit being 27.877
        ([18, 3, 4, 4, 4, 5, 5, 5, 6, 6], 1, 168 / 6, True),  # 144 + 9 + 3·4 + 3·1 over 6: 28
        ([25, 7, 8, 9, 11], 2, 220 / 12, False),  # 169 + 25 + 16 + 9 + 1 over 12: 18.33, the limit being 18.467
        ([25, 6, 9, 10, 10], 2, 222 / 12, True),  # 169 + 36 + 9 + 2·4 over 12: 18.5
    ],
)
def test_the_limits_are_met_from_both_sides(counts, step, chi2, expected):
    """60 readings with last digits counted by hand: 6 expected of each of ten, or 12 of each of five."""
    found, digits, fired = assessed([spread_out(counts, step)])
    assert (found[0], digits[0], fired[0]) == (pytest.approx(chi2), 10 / step, expected)


def test_nothing_is_said_of_fewer_than_fifty_readings_or_of_little_spread():
    zeros = [120 + 10 * (place % 4) for place in range(60)]
    known = [not np.isnan(assessed([zeros[:size]])[0][0]) for size in (49, 50, 51)]
    assert known == [False, True, True]
    # Half the values d above the others: standard deviation (n−1) d/2·√(50/49), 4.55 for 9 and 5.05 for 10.
    spreads = [[130.0 if place % 2 else 130.0 + apart for place in range(50)] for apart in (9, 10)]
    # And 24 pairs at 130 ± 5 with one at 130 ± 4: √(1232/49) = 5.01, where √(1232/50) = 4.96 would be too little.
    spreads.append([*[125, 135] * 24, 126, 134])
    assert np.isnan(assessed(spreads)[0]).tolist() == [True, False, False]


def test_values_that_were_converted_or_taken_elsewhere_are_not_counted():
    zeros = [120 + 10 * (place % 4) for place in range(50)]
    payload = series([*zeros, 121.5, 122.5])
    office = series([*zeros, 121.5])
    office["readings"][0]["setting"] = "office"
    found = assess_requests([read(one, rules().ruleset.choices) for one in (payload, office)], rules()).facts["series"]
    assert found["home_end_digits"][0] == 5  # halves are no digits
    assert np.isnan(found["home_end_digits"][1])  # 49 at home
