"""What is known beforehand of people and of technique, against scipy and against the definitions written plainly."""

from dataclasses import replace
from functools import partial
from itertools import product

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from heartlevel.profiles import UsualSpread
from heartlevel.statistics.calendar import Calendar
from heartlevel.statistics.long_run import (
    LongRun,
    Population,
    chance_at_or_above,
    towards_population,
    with_usual_spread,
)
from heartlevel.statistics.sureness.patterns import joint, pattern_probabilities
from heartlevel.statistics.technique import Faults, known_excess, share_together, usual_excess
from heartlevel.vocabulary import PATTERNS


def known(mean, error, rho: float, people: tuple, others_rho: float) -> LongRun:
    """One group; `people` are the population's means and SDs."""
    centre, sd = (np.array(one, dtype=float)[:, None] for one in people)
    population = Population(centre, sd, np.array([others_rho]))
    mean, error = np.array(mean, dtype=float)[:, None], np.array(error, dtype=float)[:, None]
    return LongRun(mean, error, np.array([rho]), np.full((2, 1), 6.0), error**2, calendar(7), population)


def calendar(days: int) -> Calendar:
    """Days in a row, of one group."""
    dates = np.arange(days)
    weeks = np.bincount(dates // 7)
    return Calendar(*(np.array([float(one)]) for one in (days, days, (weeks**2).sum(), weeks[-1], 6 - dates[-1] % 7)))


# source: scipy's multivariate normal density, the population's times that of the error, summed over a fine grid
@pytest.mark.parametrize("others_rho", [-0.3, 0.0, 0.6])
@pytest.mark.parametrize(("mean", "error", "rho"), [((132, 84), (2.5, 1.6), 0.5), ((121, 79), (4.0, 3.0), -0.6)])
def test_a_known_population_counts_as_the_product_of_two_normal_densities(mean, error, rho, others_rho):
    people = (124, 76), (15, 9)
    found, spread, joint = (one[..., 0] for one in towards_population(known(mean, error, rho, people, others_rho)))
    axes = [np.linspace(one - 9 * by, one + 9 * by, 501) for one, by in zip(mean, error, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)

    def density(centre, sd, correlation):
        return stats.multivariate_normal.pdf(grid, centre, np.outer(sd, sd) * [[1, correlation], [correlation, 1]])

    weight = density(mean, error, rho) * density(*people, others_rho)
    weight /= weight.sum()
    centre = (grid * weight[..., None]).sum(axis=(0, 1))
    cov = np.einsum("ijk,ijl,ij->kl", grid - centre, grid - centre, weight)
    assert found == pytest.approx(centre, abs=1e-4)
    assert spread == pytest.approx(np.sqrt(np.diag(cov)), rel=1e-5)
    assert joint == pytest.approx(cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1]), abs=1e-5)


# source: Bayes' theorem by scipy's quadrature: Student's t for the error, a normal population.
# Ours moves and narrows a t as if it were a normal; what that costs stays within 0.02 from 5 days on.
@pytest.mark.parametrize("days", [5, 7, 14])
@pytest.mark.parametrize("measured", [126.0, 130.0, 134.0])
def test_the_probability_with_a_known_population_is_near_the_exact_one(days, measured):
    error, (centre, sd) = 6.6 / np.sqrt(days), (124, 15)
    of = replace(known((measured, 60), (error, 1), 0.0, ((centre, 60), (sd, 9)), 0.0), degrees=np.full((2, 1), days - 1.0))
    ours = chance_at_or_above(of, np.array([[[130.0]], [[np.inf]]]))[0, 0]

    def density(true):
        return stats.norm.pdf(true, centre, sd) * stats.t.pdf((measured - true) / error, days - 1)

    above, below = (quad(density, *ends, limit=200)[0] for ends in ((130, 200), (60, 130)))
    assert ours == pytest.approx(above / (above + below), abs=0.02)


# source: Bayes' theorem by scipy's quadrature over the unknown variance: a scaled inverse chi squared one lent by others'
# days, times the likelihood of the variance between one's own (Gelman et al., Bayesian Data Analysis; from memory)
@pytest.mark.parametrize(("days", "own_sd"), [(3, 2.0), (3, 15.0), (5, 8.0)])
def test_a_lent_spread_counts_as_by_bayes_over_the_unknown_variance(days, own_sd):
    lent, degrees, mean, limit, own = 10.8, 4.0, 126.0, 130.0, days - 1

    def weight(variance):
        prior = stats.invgamma.pdf(variance, degrees / 2, scale=degrees * lent**2 / 2)
        return prior * stats.chi2.pdf(own * own_sd**2 / variance, own) / variance

    def above(variance):
        return weight(variance) * stats.norm.sf(limit, mean, np.sqrt(variance / days))

    exact = quad(above, 0, np.inf, limit=500)[0] / quad(weight, 0, np.inf, limit=500)[0]
    usual = UsualSpread((lent, lent), degrees, 0.0)
    found = with_usual_spread(np.full((2, 1), own_sd**2), np.zeros(1), calendar(days), usual)
    mean_of = np.array([[mean], [60.0]])
    of = LongRun(mean_of, found.error, found.correlation, found.degrees, found.day_variance, calendar(days))
    assert chance_at_or_above(of, np.array([[[limit]], [[np.inf]]]))[0, 0] == pytest.approx(exact, abs=1e-4)


# source: the covariance matrix of an autoregressive series of the first order, summed element by element
@pytest.mark.parametrize("rho", [0.1, 0.3, 0.5])
@pytest.mark.parametrize("days", [2, 7, 14, 28])
def test_correlated_days_inflate_the_variance_of_their_mean_as_the_whole_matrix_says(days, rho):
    apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    assert calendar(days).inflation(rho)[0] == pytest.approx((rho**apart).sum() / days)


# source: n / (1 + 2 Σ (1 − k/n) ρᵏ), effective numbers to one decimal, worked out apart from the project
@pytest.mark.parametrize(("rho", "days", "effective"), [(0.1, 7, 5.9), (0.3, 7, 4.2), (0.5, 7, 2.9), (0.1, 28, 23.1),
                                                        (0.3, 28, 15.4), (0.5, 28, 9.8)])  # fmt: skip
def test_effective_numbers_of_days_are_those_worked_out_elsewhere(rho, days, effective):
    assert days / calendar(days).inflation(rho)[0] == pytest.approx(effective, abs=0.06)


# source: scipy's normal draws of days within weeks that differ (Monte Carlo, 40,000 series): the spread of their means
@pytest.mark.parametrize("days", [3, 7, 10, 14])
def test_the_error_of_days_within_weeks_that_differ_is_the_spread_of_their_means(days):
    draw = np.random.default_rng(20261129)
    weeks = np.repeat(draw.normal(0, 4.5, (40_000, 2)), 7, axis=1)[:, :days]
    spread = (draw.normal(0, 6.0, (40_000, days)) + weeks).mean(axis=1).std()
    usual = UsualSpread((6.0, 6.0), 1e9, 0.0, 0.0, (4.5, 4.5))
    found = with_usual_spread(np.full((2, 1), 36.0), np.zeros(1), calendar(days), usual)
    assert found.error[:, 0] == pytest.approx(spread, rel=0.015)


# source: the definition of an effective number of clusters (Kish 1965, quoted from memory), by hand
@pytest.mark.parametrize(
    ("begun", "more", "weeks"), [(3, 0, 1), (3, 4, 1), (7, 7, 2), (7, 1, 64 / 50), (10, 4, 2), (5, 9, 2)]
)
def test_more_days_fill_the_week_that_was_begun_before_they_tell_of_another(begun, more, weeks):
    later = calendar(begun).later(np.array([float(more)]))
    assert later.weeks[0] == pytest.approx(weeks)
    assert later.inflation(0.3) == pytest.approx(calendar(begun + more).inflation(0.3))
    again = later.later(np.array([5.0]))
    assert again.weeks[0] == pytest.approx(calendar(begun + more + 5).weeks[0])


# source: the covariance matrix of days that are correlated within weeks that differ, summed element by element
@pytest.mark.parametrize("rho", [0.0, 0.3])
@pytest.mark.parametrize(("begun", "more"), [(1, 1), (3, 4), (3, 7), (7, 3), (7, 7), (10, 14)])
def test_how_far_more_days_move_a_mean_is_what_the_whole_matrix_says(begun, more, rho):
    now, every, day, week = calendar(begun), np.arange(begun + more), 36.0, 20.0
    covariance = day * rho ** np.abs(np.subtract.outer(every, every)) + week * np.equal.outer(every // 7, every // 7)
    weights = np.repeat(1 / (begun + more), begun + more) - np.where(every < begun, 1 / begun, 0)
    later, (days, weeks) = now.later(np.array([float(more)])), now.shared_with(np.array([float(more)]), rho)
    errors = [day * at.inflation(rho)[0] / at.days[0] + week / at.weeks[0] for at in (now, later)]
    assert sum(errors) - 2 * (day * days[0] + week * weeks[0]) == pytest.approx(weights @ covariance @ weights)


# source: NumPy's normal draws (Monte Carlo, 40,000 series) of days that are correlated within weeks that differ
@pytest.mark.parametrize(
    ("days", "rho", "week"), [(2, 0.2, 0), (3, 0.6, 0), (7, 0.2, 0.65), (10, 0.0, 0.65), (14, 0.2, 0.65)]
)
def test_neither_correlated_days_nor_weeks_that_differ_distort_the_spread_of_days(days, rho, week):
    draw, apart = np.random.default_rng(20261130), np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
    series = draw.standard_normal((40_000, days)) @ np.linalg.cholesky(rho**apart).T
    series += week * np.repeat(draw.standard_normal((40_000, 2)), 7, axis=1)[:, :days]
    own = np.full((2, 1), series.var(axis=1, ddof=1).mean())
    found = with_usual_spread(own, np.zeros(1), calendar(days), UsualSpread((1.0, 1.0), 7.0, 0.0, rho, (week, week)))
    assert abs(own[0, 0] - 1) > 0.05
    assert found.day_variance[:, 0] == pytest.approx(1.0, abs=0.01)


# source: Bayes' theorem for four normal variables by their precision matrix (NumPy), and draws of what it gives
@pytest.mark.parametrize(("at_home", "in_office"), [((126, 76), (138, 84)), ((131, 70), (128, 72)), ((118, 70), (142, 78))])
def test_patterns_are_those_of_home_and_office_each_given_the_other(at_home, in_office):
    errors, above, spread = ((5.0, 3.2), (9.0, 6.0)), (5.0, 2.0), (11.0, 6.0)
    home, office = (
        LongRun(np.array(mean, dtype=float)[:, None], np.array(error)[:, None], np.zeros(1), np.full((2, 1), 1e9),
                np.array(error)[:, None] ** 2, calendar(7))
        for mean, error in zip((at_home, in_office), errors, strict=True)
    )  # fmt: skip
    (home_then, office_then), together = joint(home, office, (above, spread))
    limits = np.array([130.0, 80.0])[:, None, None]
    ours = pattern_probabilities(*(chance_at_or_above(one, limits)[0] for one in (home_then, office_then)), together)[:, 0]
    draw = np.random.default_rng(5)
    own, apart = np.diag(np.concatenate(errors) ** -2.0), np.diag(np.square(spread) ** -1.0)
    precision = own + np.block([[apart, -apart], [-apart, apart]])
    told = own @ np.concatenate([at_home, in_office]) + np.concatenate([-apart @ above, apart @ above])
    drawn = draw.multivariate_normal(np.linalg.solve(precision, told), np.linalg.inv(precision), 200_000)
    raised = [(half >= [130.0, 80.0]).any(axis=1) for half in (drawn[:, :2], drawn[:, 2:])]
    shares = {"sustained": raised[0] & raised[1], "office-only-elevation": ~raised[0] & raised[1],
              "home-only-elevation": raised[0] & ~raised[1], "normal-in-both": ~(raised[0] | raised[1])}  # fmt: skip
    assert ours == pytest.approx([shares[name].mean() for name in PATTERNS], abs=0.02)


# source: draws of both error variances (NumPy): how the variance of a place given the other scatters, as degrees of freedom
def test_what_a_place_tells_of_the_other_is_as_unsure_as_its_own_error():
    errors, spread, degrees = ((5.0, 3.2), (9.0, 6.0)), (11.0, 6.0), (400.0, 250.0)
    places = [
        LongRun(np.full((2, 1), 120.0), np.array(error)[:, None], np.zeros(1), np.full((2, 1), own), np.ones((2, 1)),
                calendar(7))
        for error, own in zip(errors, degrees, strict=True)
    ]  # fmt: skip
    given, _ = joint(*places, ((5.0, 2.0), spread))
    draw = np.random.default_rng(11)
    own = [np.square(error)[:, None] * draw.chisquare(of, 100_000) / of for error, of in zip(errors, degrees, strict=True)]
    for place in (0, 1):
        others = own[1 - place] + np.square(spread)[:, None]
        whole = own[place] * others / (own[place] + others)
        scatter = 2 * whole.mean(axis=1) ** 2 / whole.var(axis=1)
        assert given[place].degrees[:, 0] == pytest.approx(scatter, rel=0.05)
        assert given[place].error[:, 0] ** 2 == pytest.approx(whole.mean(axis=1), rel=0.01)


ENDS = np.array([[[2, 10], [1, 5]], [[0, 1], [6, 7]], [[4, 19], [5, 14]]], dtype=float)  # fault, pressure, low and high
column = partial(np.reshape, shape=(-1, 1))  # a row a fault
USUAL, FOUND, UNRECORDED = (0.3, 0.5, 0.2), (0.25, 0.6, 0.1), (0.5, 1.0, 0.4)


# source: every combination of faults there or not, written out, with scipy's uniform distribution for their sizes
def test_usual_errors_are_the_mean_and_spread_over_every_combination_of_faults():
    first, second = np.zeros(2), np.zeros((2, 2))
    size = stats.uniform(ENDS[..., 0], ENDS[..., 1] - ENDS[..., 0])
    for there in product((0, 1), repeat=3):
        chance = np.prod([share if one else 1 - share for one, share in zip(there, USUAL, strict=True)])
        part = np.array(there) * UNRECORDED
        mean, sd = part @ size.mean(), part[:, None] * size.std()
        first += chance * mean
        second += chance * (np.outer(mean, mean) + sd.T @ sd)
    faults = Faults(ENDS[..., 0], ENDS[..., 1], column(USUAL), np.zeros((3, 1)), column(UNRECORDED))
    ours, cov = usual_excess(faults, np.ones((2, 1))).added(), second - np.outer(first, first)
    assert ours.mean[:, 0] == pytest.approx(first)
    assert ours.variance[:, 0] == pytest.approx(np.diag(cov))
    assert ours.covariance[0] == pytest.approx(cov[0, 1])


# source: scipy's uniform distribution; the strongest fault whole, the others by half, written out
def test_known_errors_are_the_strongest_fault_in_full_and_half_of_the_others():
    faults = Faults(ENDS[..., 0], ENDS[..., 1], np.zeros((3, 1)), column(FOUND), np.zeros((3, 1)))
    size = stats.uniform(ENDS[..., 0], ENDS[..., 1] - ENDS[..., 0])
    part = np.array(FOUND) * (0.5, 1, 0.5)
    ours, half = known_excess(faults, np.full((2, 1), 0.5)).added(), part[:, None]
    assert ours.mean[:, 0] == pytest.approx((half * size.mean()).sum(axis=0))
    assert ours.variance[:, 0] == pytest.approx(((half * size.std()) ** 2).sum(axis=0))


# source: arithmetic
def test_usual_faults_come_to_their_total_in_all_and_never_to_more_than_their_sum():
    low, high = np.array([[4.0, 2.0]] * 2), np.array([[8.0, 2.0]] * 2)
    alike = Faults(low, high, np.full((2, 1), 0.5), np.zeros((2, 1)), np.ones((2, 1)))
    in_all = np.array([[3.0], [5.0]])
    together = share_together(alike, in_all)
    assert usual_excess(alike, together).added().mean[:, 0] == pytest.approx([3, 2])
