"""Means of groups that share people: at both ends the tests that scipy has, between them what simulation says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.regression.linear_model import OLS

from heartlevel.practice.differences import difference_of_groups, difference_within


def people(seed: int, size: int, first: float = 1.0, second: float = 1.0, apart: float = 0.0):
    """Means of people, some of whom are in one group alone; a person's two means go together."""
    chance = np.random.default_rng(seed)
    level = chance.normal(130, 12, size)
    mine, others = level + chance.normal(apart, 5, size), level + chance.normal(0, 9, size)
    mine[chance.random(size) > first] = np.nan
    others[chance.random(size) > second] = np.nan
    return mine, others


@given(st.integers(0, 999), st.integers(6, 60))
def test_where_all_are_in_both_groups_it_is_the_paired_test_of_scipy(seed, size):
    mine, others = people(seed, size, apart=3)
    wanted = stats.ttest_rel(mine, others).confidence_interval(0.9)
    assert difference_of_groups(mine, others).interval(0.9) == pytest.approx(tuple(wanted), rel=1e-9)
    assert difference_within(mine, others).interval(0.9) == pytest.approx(tuple(wanted), rel=1e-9)


@given(st.integers(0, 999), st.integers(8, 60))
def test_where_nobody_is_in_both_it_is_welch_s_test_of_scipy(seed, size):
    mine, others = people(seed, size)
    mine[: size // 2], others[size // 2 :] = np.nan, np.nan
    wanted = stats.ttest_ind(mine[size // 2 :], others[: size // 2], equal_var=False).confidence_interval(0.95)
    assert difference_of_groups(mine, others).interval(0.95) == pytest.approx(tuple(wanted), rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_between_them_the_error_is_that_of_clusters_of_people_in_statsmodels(seed):
    """A regression on the group with errors that hold for clusters: large numbers, where both hold."""
    mine, others = people(seed, 4000, 0.5, 0.7, apart=2)
    values, group = np.concatenate([mine, others]), np.repeat([1.0, 0.0], 4000)
    there = ~np.isnan(values)
    design, owner = np.column_stack([np.ones(8000), group])[there], np.tile(np.arange(4000), 2)[there]
    fitted = OLS(values[there], design).fit(cov_type="cluster", cov_kwds={"groups": owner})
    difference = difference_of_groups(mine, others)
    assert difference.mean == pytest.approx(fitted.params[1], rel=1e-9)
    assert difference.error == pytest.approx(fitted.bse[1], rel=0.02)


def test_intervals_hold_the_truth_as_often_as_they_say():
    held = [
        low <= 3 <= high
        for seed in range(600)
        for low, high in [difference_of_groups(*people(seed, 16, 0.6, 0.8, apart=3)).interval(0.95)]
    ]
    assert 0.93 < np.mean(held) < 0.98  # 600 draws of 0.95 lie within 0.932 and 0.968 in 19 of 20


def test_of_too_few_nothing_is_told_and_nothing_varies_without_harm():
    nothing = np.array([np.nan, 120.0, np.nan]), np.array([118.0, np.nan, 130.0])
    assert np.isnan(difference_of_groups(*nothing).interval(0.95)).all()
    same = np.full(6, 120.0)
    assert difference_of_groups(same, same - 4).interval(0.95) == (4.0, 4.0)
