"""How sure an answer is, against other libraries and against the definitions written plainly.

statsmodels is imported by what needs it: every process collects this file, and it takes a second.
"""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from heartlevel.statistics.sureness.more_days import SURE
from heartlevel.statistics.uncertainty import interval95
from heartlevel.statistics.variability import paired_by_day, variability
from heartlevel.vocabulary import PATTERNS
from support import answer, average, reading, rules

RANDOM = np.random.default_rng(20260301)
HOURS = ("07:00", "07:02", "20:00", "20:02")


def diary(days: int, keep: float = 1.0, level: float = 131.0, between: float = 4.0, within: float = 5.0) -> dict:
    """A subject with four readings a day, of which a share is kept; to a tenth, so that ties are rare."""
    shift, noise = RANDOM.normal(0, between, days), RANDOM.normal(0, within, (days, 4))
    kept = RANDOM.random((days, 4)) < keep
    kept[:, 0] = True
    readings = [
        reading(f"2026-03-{day + 1:02d}T{at}:00+01:00", *np.round([level + one, 84 + 0.6 * one], 1).tolist())
        for day in range(days)
        for place, at in enumerate(HOURS)
        if kept[day, place]
        for one in [shift[day] + noise[day, place]]
    ]
    return {"subject": {"id": "s", "age_years": 50}, "readings": readings}


def assessed(payload):
    return assess_requests([read(payload, rules().ruleset.choices)], rules())


def table(payload: dict) -> pd.DataFrame:
    return pd.DataFrame([(one["taken_at"][:10], one["systolic"]) for one in payload["readings"]], columns=["day", "value"])


def ours(payload: dict) -> tuple[float, float, float]:
    """The mean of day means, its standard error and the days."""
    of = assessed(payload).averages
    at = 0, of.row("protocol"), 0
    return float(of.day_mean[at]), float(of.standard_error[at]), float(of.day_count[at])


def mixed(payload: dict):
    from statsmodels.formula.api import mixedlm

    return mixedlm("value ~ 1", table(payload), groups="day").fit(reml=True)


# source: statsmodels, MixedLM by REML. In a balanced one-way layout the variance of the mean is the mean square between
# days over all readings (Searle, Casella, McCulloch, Variance Components, 1992; quoted from memory): equal to ours.
@pytest.mark.parametrize("days", [5, 7, 14])
def test_a_mixed_model_with_the_day_at_random_gives_the_same_mean_and_error_for_balanced_days(days):
    payload = diary(days, between=6, within=3)
    mean, error, _ = ours(payload)
    fitted = mixed(payload)
    assert float(fitted.cov_re.iloc[0, 0]) > 0  # the theory holds within the bounds alone
    assert mean == pytest.approx(fitted.params["Intercept"], abs=1e-6)
    assert error == pytest.approx(fitted.bse["Intercept"], rel=2e-3)


# source: statsmodels, MixedLM by REML; days of one to four readings, where ours weighs each day alike
@pytest.mark.parametrize("seed", range(4))
def test_a_mixed_model_comes_near_where_days_are_unbalanced(seed):
    payload = diary(14, keep=0.6, between=6, within=3)
    mean, error, _ = ours(payload)
    fitted = mixed(payload)
    assert mean == pytest.approx(fitted.params["Intercept"], abs=0.5)
    assert error == pytest.approx(fitted.bse["Intercept"], rel=0.15)


# source: statsmodels, ordinary least squares of the day means on a constant: Student's t interval
@pytest.mark.parametrize("days", [3, 7, 14])
def test_the_interval_is_that_of_a_regression_of_day_means_on_a_constant(days):
    from statsmodels.formula.api import ols

    payload = diary(days, keep=0.7)
    means = table(payload).groupby("day", as_index=False)["value"].mean()
    expected = ols("value ~ 1", means).fit().conf_int().loc["Intercept"].tolist()
    assert np.array(interval95(*map(np.array, ours(payload)))) == pytest.approx(np.array(expected), abs=1e-9)
    assert average(answer(payload))["systolic"]["interval95"] == pytest.approx(expected, abs=0.051)


# source: scipy's Student's t for each pressure and its multivariate normal distribution for both, category by category
@pytest.mark.parametrize("days", [4, 7])
@pytest.mark.parametrize("level", [119.0, 126.0, 133.0])
def test_the_probability_of_a_category_is_that_of_reaching_it_and_none_above_it(days, level):
    found = assessed(diary(days, level=level))
    of, row = found.averages, found.averages.row("protocol")
    mean, error, rho = of.day_mean[:2, row, 0], of.standard_error[:2, row, 0], float(of.correlation[row, 0])

    def above(*limit):
        score = stats.norm.ppf(stats.t.cdf((np.array(limit) - mean) / error, days - 1))
        return 1 - stats.multivariate_normal.cdf(score.clip(-8, 8), cov=[[1, rho], [rho, 1]])

    # AHA/ACC 2025 at home: elevated from 120 systolic, or from 80 diastolic as stage 1 then is; 130/80; 135/85.
    reached = [1.0, above(120, 80), above(130, 80), above(135, 85), 0.0]
    got = found.sureness.probabilities.of_category[0]
    assert list(got) == ["normal", "elevated", "stage-1", "stage-2"]
    assert list(got.values()) == pytest.approx(-np.diff(reached), abs=1e-6)
    assert sum(got.values()) == pytest.approx(1)


# source: the product of independent probabilities (arithmetic)
def test_the_probability_of_a_pattern_is_the_product_of_those_at_home_and_in_the_office():
    payload = diary(6, level=129)
    for day in range(4):
        payload["readings"] += [
            reading(f"2026-03-{10 + day}T10:0{place}:00+01:00", 131 + 3 * day, 78 + day + place, setting="office")
            for place in range(2)
        ]
    found = assessed(payload).sureness.probabilities.of_limit
    home, office = found[0]["130/80"], found[1]["130/80"]
    assert 0.02 < home < 0.98
    assert 0.02 < office < 0.98
    (said,) = [one for one in answer(payload)["pattern"]["chances"] if one["limits"]["home"] == "130/80"]
    expected = [home * office, (1 - home) * office, home * (1 - office), (1 - home) * (1 - office)]
    assert [said["probability"][name] for name in PATTERNS] == pytest.approx(expected, abs=5.1e-4)


# source: the definition, searched day by day with scipy's Student's t; diastolic far from its limits
@pytest.mark.parametrize("away", [1.0, 2.0, 3.0, 5.0])
def test_more_days_are_the_fewest_after_which_the_category_is_expected_to_be_sure(away):
    swing = [-5, 5, -3, 3, -4, 4]
    payload = {"subject": {"id": "s", "age_years": 50}, "readings": [
        reading(f"2026-03-{day + 1:02d}T{at}:00+01:00", 130 - away + one, 60)
        for day, one in enumerate(swing) for at in HOURS
    ]}  # fmt: skip
    sd, days = np.std(swing, ddof=1), len(swing)

    def chance(more):
        error = sd / np.sqrt(days + more)
        reached = [stats.t.sf((limit - 130 + away) / error, days + more - 1) for limit in (120, 130)]
        return reached[0] - reached[1]

    expected = next((more for more in range(29) if chance(more) >= SURE), None)
    said = answer(payload)["what_next"]
    assert said["more_days"] == expected
    assert said["days_looked_ahead"] == 28
    assert said.get("no_more_days") == (None if expected is not None else "not-within-the-days-looked-ahead")


# source: Mena et al., J Hypertens 2005;23:505 (quoted from memory): the mean absolute difference of successive readings,
# each weighted by the time between them
def test_time_weighted_variability_weighs_each_step_by_its_gap():
    payload = diary(5, keep=0.6)
    batch = assessed(payload).batch
    found = variability(batch, batch.readings["systolic"], np.ones(batch.size, dtype=bool))
    value = np.array([one["systolic"] for one in payload["readings"]])
    at = pd.to_datetime([one["taken_at"] for one in payload["readings"]])
    gaps = np.diff(at) / timedelta(minutes=1)
    assert found.arv_weighted[0] == pytest.approx(np.average(np.abs(np.diff(value)), weights=gaps))
    assert found.arv[0] == pytest.approx(np.abs(np.diff(value)).mean())
    assert found.arv_weighted[0] != pytest.approx(found.arv[0], rel=0.01)
    assert found.day_sd[0] == pytest.approx(table(payload).groupby("day")["value"].mean().std())


# source: reference vectors, computed: equal gaps weigh alike, so both forms agree; the days' means are the readings
@pytest.mark.parametrize(("series", "arv"), [([120, 130, 120, 130, 120, 130], 10.0), ([120, 120, 120, 130, 130, 130], 2.0)])
def test_with_equal_gaps_both_forms_of_variability_are_one(series, arv):
    readings = [reading(f"2026-03-0{day + 1}T07:00:00+01:00", value, 80) for day, value in enumerate(series)]
    said = answer({"subject": {"id": "s"}, "readings": readings})["variability"]["home"]["systolic"]
    assert said == {"sd": 5.5, "cv": 4.4, "arv": arv, "arv_weighted": arv, "day_sd": 5.5}


# source: scipy, paired t test and its confidence interval
def test_morning_minus_evening_is_a_paired_comparison_of_days_that_have_both():
    payload = diary(8)
    payload["readings"] = [one for one in payload["readings"] if not one["taken_at"].startswith("2026-03-03T20")]
    batch = assessed(payload).batch
    morning, evening = batch.hour < 12, batch.hour > 16
    found = paired_by_day(batch, batch.readings["systolic"], morning, evening)
    frame = pd.DataFrame({"day": batch.day, "part": morning, "value": batch.readings["systolic"]})
    both = frame.groupby(["day", "part"])["value"].mean().unstack().dropna()
    expected = stats.ttest_rel(both[True], both[False]).confidence_interval()
    assert (found.days[0], found.mean[0]) == (7, pytest.approx((both[True] - both[False]).mean()))
    assert (found.low[0], found.high[0]) == pytest.approx(tuple(expected))
    said = answer(payload)["variability"]["morning_minus_evening"]
    assert (said["days"], said["systolic"]["interval95"]) == (7, pytest.approx(list(expected), abs=0.051))
