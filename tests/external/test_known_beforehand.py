"""What is known beforehand of people and of technique, against scipy and against the definitions written plainly."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from heartlevel.statistics.long_run import LongRun, Population, chance_at_or_above, towards_population, with_lent_spread
from heartlevel.statistics.technique import Fault, expected_excess


def known(mean, error, rho: float, people: tuple, others_rho: float) -> LongRun:
    """One group; `people` are the population's means and SDs."""
    centre, sd = (np.array(one, dtype=float)[:, None] for one in people)
    population = Population(centre, sd, np.array([others_rho]))
    mean, error = np.array(mean)[:, None], np.array(error)[:, None]
    return LongRun(mean, error, np.array([rho]), np.array([7.0]), np.zeros(1), population)


# source: scipy's multivariate normal density, the population's times that of the error, summed over a fine grid
@pytest.mark.parametrize("others_rho", [-0.3, 0.0, 0.6])
@pytest.mark.parametrize(("mean", "error", "rho"), [((132, 84), (2.5, 1.6), 0.5), ((121, 79), (4.0, 3.0), -0.6)])
def test_a_known_population_weighs_as_the_product_of_two_normal_densities(mean, error, rho, others_rho):
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
    of = replace(known((measured, 60), (error, 1), 0.0, ((centre, 60), (sd, 9)), 0.0), days=np.array([float(days)]))
    ours = chance_at_or_above(of, np.array([[[130.0]], [[np.inf]]]))[0, 0]

    def density(true):
        return stats.norm.pdf(true, centre, sd) * stats.t.pdf((measured - true) / error, days - 1)

    above, below = (quad(density, *ends, limit=200)[0] for ends in ((130, 200), (60, 130)))
    assert ours == pytest.approx(above / (above + below), abs=0.02)


# source: Bayes' theorem by scipy's quadrature over the unknown variance: a scaled inverse chi squared one lent by others'
# days, times the likelihood of the variance between one's own (Gelman et al., Bayesian Data Analysis; from memory)
@pytest.mark.parametrize(("days", "own_sd"), [(3, 2.0), (3, 15.0), (5, 8.0)])
def test_a_lent_spread_weighs_as_by_bayes_over_the_unknown_variance(days, own_sd):
    lent, degrees, mean, limit, own = 10.8, 4.0, 126.0, 130.0, days - 1

    def weight(variance):
        prior = stats.invgamma.pdf(variance, degrees / 2, scale=degrees * lent**2 / 2)
        return prior * stats.chi2.pdf(own * own_sd**2 / variance, own) / variance

    def above(variance):
        return weight(variance) * stats.norm.sf(limit, mean, np.sqrt(variance / days))

    exact = quad(above, 0, np.inf, limit=500)[0] / quad(weight, 0, np.inf, limit=500)[0]
    own_error = np.full((2, 1), own_sd / np.sqrt(days))
    error = with_lent_spread(own_error, np.array([days]), np.array([lent, lent]), degrees)
    of = LongRun(np.array([[mean], [60.0]]), error, np.zeros(1), np.array([float(days)]), np.array([degrees]))
    assert chance_at_or_above(of, np.array([[[limit]], [[np.inf]]]))[0, 0] == pytest.approx(exact, abs=1e-4)


ENDS = np.array([[[2, 10], [1, 5]], [[0, 1], [6, 7]], [[4, 19], [5, 14]]], dtype=float)  # fault, pressure, low and high
USUAL, FOUND, UNRECORDED = (0.3, 0.5, 0.2), (0.25, 0.0, 0.0), (0.5, 1.0, 0.4)


# source: every combination of faults there or not, written out, with scipy's uniform distribution for their sizes
def test_the_excess_of_faults_is_the_mean_and_spread_over_every_combination_of_them():
    first, second = np.zeros(2), np.zeros((2, 2))
    size = stats.uniform(ENDS[..., 0], ENDS[..., 1] - ENDS[..., 0])
    for there in product((0, 1), repeat=3):
        chance = np.prod([share if one else 1 - share for one, share in zip(there, USUAL, strict=True)])
        part = np.array(FOUND) + np.array(there) * UNRECORDED
        mean, sd = part @ size.mean(), part[:, None] * size.std()
        first += chance * mean
        second += chance * (np.outer(mean, mean) + sd.T @ sd)
    faults = [
        Fault(ENDS[one, :, 0], ENDS[one, :, 1], USUAL[one], np.array([FOUND[one]]), np.array([UNRECORDED[one]]))
        for one in range(3)
    ]
    ours, cov = expected_excess(faults, np.array([1e6, 1e6]), 1), second - np.outer(first, first)
    assert ours.mean[:, 0] == pytest.approx(first)
    assert ours.variance[:, 0] == pytest.approx(np.diag(cov))
    assert ours.covariance[0] == pytest.approx(cov[0, 1])


# source: arithmetic
def test_usual_faults_come_to_their_total_in_all_and_never_to_more_than_their_sum():
    one = Fault(np.array([4.0, 2.0]), np.array([8.0, 2.0]), 0.5, np.zeros(1), np.ones(1))
    assert expected_excess([one, one], np.array([3.0, 5.0]), 1).mean[:, 0] == pytest.approx([3, 2])
