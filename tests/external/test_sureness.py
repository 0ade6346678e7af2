"""How sure an answer is, against other libraries and against the definitions written plainly.

statsmodels is imported by what needs it: every process collects this file, and it takes a second.
"""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from heartlevel.assessment import assess_requests
from heartlevel.conclusions.sureness import as_measured
from heartlevel.intake.request import read
from heartlevel.statistics.sureness.more_days import SURE, being_sure
from heartlevel.statistics.uncertainty import interval95
from heartlevel.statistics.variability import paired_by_day, variability
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
    of = (found := assessed(diary(days, level=level))).sureness.measured
    mean, error, degrees, rho = of.mean[:, 0], of.error[:, 0], of.degrees[:, 0], float(of.correlation[0])

    def above(*limit):
        score = stats.norm.ppf(stats.t.cdf((np.array(limit) - mean) / error, degrees))
        return 1 - stats.multivariate_normal.cdf(score.clip(-8, 8), cov=[[1, rho], [rho, 1]])

    # AHA/ACC 2025 at home: elevated from 120 systolic, or from 80 diastolic as stage 1 then is; 130/80; 135/85.
    reached = [1.0, above(120, 80), above(130, 80), above(135, 85), 0.0]
    got = as_measured(found).of_category[0]
    assert list(got) == ["normal", "elevated", "stage-1", "stage-2"]
    assert list(got.values()) == pytest.approx(-np.diff(reached), abs=1e-6)
    assert sum(got.values()) == pytest.approx(1)


# source: the published spreads pooled by hand as the docstring has it; the interval by scipy's Student's t
def test_the_interval_of_the_long_run_pools_days_and_adds_weeks():
    payload = diary(7)
    mean, error, days = ours(payload)
    usual = rules().ruleset.at_home.spread
    pooled = ((days - 1) * error**2 * days + usual.degrees * usual.sd[0] ** 2) / (days - 1 + usual.degrees)
    correlated = 1 + 2 * sum((1 - k / days) * usual.day_correlation**k for k in range(1, int(days)))
    of_days, of_weeks = pooled * correlated / days, usual.week_sd[0] ** 2
    degrees = (of_days + of_weeks) ** 2 / (of_days**2 / (days - 1 + usual.degrees) + of_weeks**2 / usual.degrees)
    half = stats.t.ppf(0.975, degrees) * np.sqrt(of_days + of_weeks)
    centre = mean - 2.8 / days
    found = average(answer(payload))["systolic"]["interval95_long_run"]
    assert found == pytest.approx([centre - half, centre + half], abs=0.051)


# source: scipy's inverse gamma distribution, which is a scaled inverse chi squared one: the mean of the variances that
# people have by the lent scale and degrees is the square of the spread that the rules quote
@pytest.mark.parametrize(("block", "quoted"), [("at_home", "sd_between_days"), ("in_office", "sd_between_visits")])
def test_a_lent_spread_is_that_of_people_whose_mean_variance_is_the_published_one(block, quoted):
    usual = getattr(rules().ruleset, block)
    for name, scale in zip(("systolic", "diastolic"), usual.spread.sd, strict=True):
        of_people = stats.invgamma(usual.spread.degrees / 2, scale=usual.spread.degrees * scale**2 / 2)
        assert np.sqrt(of_people.mean()) == pytest.approx(usual.written[quoted][name])


# source: scipy's draws of a mean that moves and narrows as more days come (Monte Carlo), category by category, of
# Student's t with few degrees of freedom and with so many that it is normal
@pytest.mark.parametrize("degrees", [8.0, 1e9])
@pytest.mark.parametrize("level", [116.0, 126.0, 141.0])
def test_the_chance_of_being_sure_is_how_often_the_predicted_mean_makes_it_so(level, degrees):
    error, left, bounds, of = 5.0, np.array([0.8, 0.6, 0.4]), np.array([120.0, 130.0]), stats.t(degrees)
    above = ((level - bounds) / error)[:, None]
    draw = np.random.default_rng(3).standard_t(degrees, size=200_000)
    moved = np.array([0.2, 0.3, 0.6])  # the second by less than is taken off the error
    said_of = being_sure(above, left[:, None], moved[:, None], np.array([degrees]))[:, 0]
    for share, by, said in zip(left, moved, said_of, strict=True):
        later, then = level + error * np.sqrt(by) * draw, error * np.sqrt(share)
        outside = np.maximum(of.cdf((bounds[0] - later) / then), of.sf((bounds[1] - later) / then))
        assert said == pytest.approx((outside <= 1 - SURE).mean(), abs=0.005)


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
