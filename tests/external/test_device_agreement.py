"""Agreement of devices against published worked examples and against other libraries.

The libraries are imported by the tests that need them: every process collects this file, and they take three seconds.
"""

import numpy as np
import pytest
from scipy import stats

from heartlevel.statistics.accuracy_standard import LIMITS, largest_sd, standard
from heartlevel.statistics.agreement import agreement
from heartlevel.statistics.comparisons import comparisons_of
from support import rules

# source: Bland and Altman 1986, peak flow with two meters, n = 17: summary published; first and second readings quoted
# from memory, they give the published summary
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
LARGE_AGAIN = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI_AGAIN = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def pair(device, reference, occasion=None):
    both = {"device": device, "reference": reference}
    named = {side: {"systolic": float(value), "diastolic": float(value) / 2} for side, value in both.items()}
    return named | ({"occasion": occasion} if occasion else {})


def pairs(devices, references, occasions=None):
    names = occasions or [None] * len(devices)
    return [pair(*one) for one in zip(devices, references, names, strict=True)]


def agreed(*checks):
    many = np.full(len(checks), 5.0)
    return agreement(comparisons_of(checks), many, many)


def twice(**more):
    people = [f"p{number}" for number in range(17)]
    return {"pairs": pairs(LARGE + LARGE_AGAIN, MINI + MINI_AGAIN, people * 2), **more}


# source: Bland and Altman 1986 (published); intervals of the limits computed from its summary with the full standard error
def test_the_limits_of_peak_flow_meters_have_their_intervals():
    found = agreed({"pairs": pairs(LARGE, MINI)})
    assert found.bias[0, 0] == pytest.approx(-2.117647, abs=1e-6)
    assert found.sd[0, 0] == pytest.approx(38.76513, abs=1e-5)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-78.0973, 73.86201), abs=1e-4)
    assert found.bias_interval95[:, 0, 0] == pytest.approx([-22.04884, 17.81354], abs=1e-4)
    assert found.low_interval95[:, 0, 0] == pytest.approx([-112.853, -43.342], abs=1e-3)
    assert found.high_interval95[:, 0, 0] == pytest.approx([39.106, 108.618], abs=1e-3)


# source: the same, with both readings; published -81.4 to 69.4 is from two rounded standard deviations
def test_replicates_of_one_person_give_the_corrected_deviation():
    found = agreed(twice(true_pressure="constant"))
    assert (found.pairs[0], found.occasions[0]) == (34, 17)
    assert (found.bias[0, 0], found.sd[0, 0]) == pytest.approx((-6.0294, 37.655), abs=1e-3)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-79.83, 67.77), abs=0.01)
    compared = comparisons_of([twice()])
    within = [compared.within(values)[0, 0] ** 0.5 for values in (compared.device, compared.reference)]
    assert within == pytest.approx([15.307, 19.911], abs=1e-3)


# source: Giavarina, Biochemia Medica 2015;25:141, n = 30 (published); the pairs are pingouin's data set `blandaltman`
def test_the_thirty_pairs_of_giavarina_come_out_as_published():
    from pingouin import read_dataset

    data = read_dataset("blandaltman")
    found = agreed({"pairs": pairs(data["A"], data["B"])})
    assert (found.bias[0, 0], found.sd[0, 0]) == pytest.approx((-27.17, 34.81), abs=0.005)
    assert (found.bias[0, 0], found.sd[0, 0]) == pytest.approx((-27.1667, 34.8059), abs=5e-5)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-95.3863, 41.0530), abs=1e-4)
    assert found.bias_interval95[:, 0, 0] == pytest.approx([-40.16, -14.17], abs=0.01)
    # Their limits' intervals are from the approximation sqrt(3 s^2 / n); ours are from the full standard error.
    wider = ((3 / 30) / (1 / 30 + 1.96**2 / 58)) ** 0.5
    for limit, interval, published in (
        (found.low, found.low_interval95, [-117.91, -72.89]), (found.high, found.high_interval95, [18.55, 63.57])
    ):  # fmt: skip
        around = limit[0, 0] + (interval[:, 0, 0] - limit[0, 0]) * wider
        assert around == pytest.approx(published, abs=0.02)


def scattered(seed, most=5, drift=0.0):
    """People with unequal numbers of pairs; `drift` is the proportional bias."""
    source = np.random.default_rng(seed)
    rows = []
    for person in range(12):
        level, own = source.normal(140, 18), source.normal(2, 4)
        for _ in range(source.integers(1, most + 1)):
            true = level + source.normal(0, 6)
            rows.append((true * (1 + drift) + own + source.normal(0, 3), true + source.normal(0, 3), f"p{person}"))
    return pairs(*map(list, zip(*rows, strict=True)))


def differences(some):
    return np.array([one["device"]["systolic"] - one["reference"]["systolic"] for one in some])


# reference: analysis of variance by statsmodels; the sum of components by Bland and Altman 2007 (published)
@pytest.mark.parametrize("seed", range(5))
def test_components_of_variance_are_those_of_an_analysis_of_variance(seed):
    from statsmodels.api import OLS

    some = scattered(seed)
    names = [one["occasion"] for one in some]
    sizes = np.array([names.count(name) for name in dict.fromkeys(names)])
    dummies = np.array([[float(name == other) for other in dict.fromkeys(names)] for name in names])
    fitted = OLS(differences(some), dummies).fit()
    total = fitted.centered_tss
    between = (total - fitted.ssr) / (len(sizes) - 1)
    size = (sizes.sum() ** 2 - (sizes**2).sum()) / ((len(sizes) - 1) * sizes.sum())
    variance = max(between - fitted.mse_resid, 0) / size + fitted.mse_resid
    compared = comparisons_of([{"pairs": some}])
    assert compared.within(compared.differences)[0, 0] == pytest.approx(fitted.mse_resid, rel=1e-9)
    assert agreed({"pairs": some}).sd[0, 0] == pytest.approx(variance**0.5, rel=1e-9)


# reference: with equal numbers of pairs the components are the restricted-likelihood ones of statsmodels
def test_with_equal_replicates_the_components_are_those_of_a_mixed_model():
    from statsmodels.regression.mixed_linear_model import MixedLM

    source = np.random.default_rng(9)
    people = np.repeat(np.arange(15), 4)
    d = 3 + source.normal(0, 5, 15)[people] + source.normal(0, 3, 60)
    fitted = MixedLM(d, np.ones((60, 1)), people).fit(reml=True)
    expected = float(np.asarray(fitted.cov_re)[0, 0])
    found = agreed({"pairs": pairs(130 + d, [130.0] * 60, [f"p{one}" for one in people])})
    assert found.sd[0, 0] ** 2 == pytest.approx(expected + fitted.scale, rel=1e-3)


# reference: Bland and Altman 1999, section 5.2 (published; formula quoted from memory), written out person by person
@pytest.mark.parametrize("seed", range(3))
def test_unequal_replicates_of_a_constant_pressure_weigh_by_the_reciprocal_of_their_number(seed):
    some = scattered(seed)
    groups = {}
    for one in some:
        groups.setdefault(one["occasion"], []).append((one["device"]["systolic"], one["reference"]["systolic"]))
    groups = [np.array(group) for group in groups.values()]
    means = [group.mean(axis=0) for group in groups]
    degrees = sum(len(group) - 1 for group in groups)
    within = sum(((group - group.mean(axis=0)) ** 2).sum(axis=0) for group in groups) / degrees
    share = 1 - np.mean([1 / len(group) for group in groups])
    variance = np.var([one[0] - one[1] for one in means], ddof=1) + share * within.sum()
    assert agreed({"pairs": some, "true_pressure": "constant"}).sd[0, 0] ** 2 == pytest.approx(variance, rel=1e-9)


# reference: least squares by statsmodels, its errors HC3 (MacKinnon and White 1985, from memory)
@pytest.mark.parametrize(("seed", "drift"), [(0, 0.0), (1, 0.1), (2, -0.2), (3, 0.4)])
def test_the_slope_of_the_difference_is_that_of_least_squares_on_their_mean_and_on_each(seed, drift):
    from statsmodels.api import OLS, add_constant

    some = scattered(seed, most=1, drift=drift)
    device, reference = (np.array([one[side]["systolic"] for one in some]) for side in ("device", "reference"))
    lines = [
        OLS(device - reference, add_constant(level)).fit(cov_type="HC3", use_t=True)
        for level in ((device + reference) / 2, reference, device)
    ]
    ends = np.array([line.conf_int()[1] for line in lines])
    found = agreed({"pairs": some}).slope
    assert found.slope[0, 0] == pytest.approx(lines[0].params[1], rel=1e-9)
    assert found.interval95[:, 0, 0] == pytest.approx([ends[:, 0].min(), ends[:, 1].max()], rel=1e-9)
    assert found.p[0, 0] == pytest.approx(max(line.pvalues[1] for line in lines), rel=1e-7)
    assert found.slope[0, 0] == pytest.approx(
        stats.linregress((device + reference) / 2, device - reference).slope, rel=1e-9
    )


def proportional(scatter_of_device, scatter_of_reference, slope=0.0, count=20, checks=600):
    """The share of checks that find proportional bias, scatters given as shares of the pressure."""
    draw = np.random.default_rng(23)
    true = draw.normal(135, 22, (checks, count))
    device = true * (1 + slope) + draw.standard_normal(true.shape) * scatter_of_device * true
    reference = true + draw.standard_normal(true.shape) * scatter_of_reference * true
    found = agreed(*({"pairs": pairs(*both)} for both in zip(device.tolist(), reference.tolist(), strict=True))).slope
    return (found.p[0] < 0.05).mean()


@pytest.mark.parametrize("scatters", [(0.06, 0), (0, 0.06), (0.05, 0.05), (0.06, 0.03)])
@pytest.mark.parametrize("count", [10, 20, 40])
def test_scatter_that_grows_with_pressure_is_no_proportional_bias(scatters, count):
    """At most one in twenty, and two standard errors: least squares on the mean finds it in 12 % at 20 pairs."""
    assert proportional(*scatters, count=count) <= 0.05 + 2 * (0.05 * 0.95 / 600) ** 0.5


def test_a_proportional_bias_is_found_by_enough_pairs():
    """A device that reads a fifth too far from zero."""
    assert proportional(0.03, 0.03, slope=0.2, count=40) >= 0.8


def test_a_slope_that_one_occasion_decides_has_no_interval():
    found = agreed({"pairs": pairs([120, 120, 160], [120, 120, 155])}).slope
    assert found.slope[0, 0] > 0 and np.isnan(found.p[0, 0]) and np.isnan(found.interval95[:, 0, 0]).all()


# source: ISO 81060-2, criterion 2 (definition published: 85 % of normal errors within 10 mmHg; values computed, the printed
# table, quoted from memory, is within 0.02 of them)
@pytest.mark.parametrize(
    ("mean", "largest"), [(0, 6.947), (1, 6.874), (2, 6.649), (3, 6.248), (4, 5.635), (5, 4.806), (-3, 6.248)]
)
def test_criterion_two_follows_from_the_normal_distribution(mean, largest):
    found = largest_sd(np.array([float(mean)]), np.array([10.0]), np.array([0.85]))
    assert found[0] == pytest.approx(largest, abs=6e-4)
    within = stats.norm.cdf(10, mean, found[0]) - stats.norm.cdf(-10, mean, found[0])
    assert within == pytest.approx(0.85, abs=1e-9)


def many_people(mean, sd_of_people, sd_within, count=85):
    """Three pairs a person whose mean errors and errors within have the given mean and deviations, exactly."""
    own = stats.zscore(stats.norm.ppf((np.arange(count) + 0.5) / count), ddof=1) * sd_of_people + mean
    errors = np.repeat(own, 3) + np.tile([-sd_within, 0, sd_within], count)
    people = [f"p{number}" for number in np.repeat(np.arange(count), 3)]
    return {"pairs": pairs(130 + errors, [130.0] * (3 * count), people)}


# source: ISO 81060-2:2018: at least 85 people and 255 pairs, mean error at most 5, deviation at most 8 (published)
@pytest.mark.parametrize(
    ("mean", "sd_of_people", "sd_within", "first", "second"),
    [(-2.4, 6.3, 3.0, True, True), (0, 6.9, 1.0, True, True), (0, 7.1, 1.0, True, False), (0, 6.5, 7.0, False, True),
     (4.9, 4.8, 1.0, True, True), (4.9, 5.1, 1.0, True, False), (5.2, 1.0, 1.0, False, False)],
)  # fmt: skip
def test_both_criteria_of_the_accuracy_standard(mean, sd_of_people, sd_within, first, second):
    held = rules().ruleset.protocols["aha-ama-2020"].limits
    limits = {name: np.array([held[f"protocol.device_check.standard.{name}"]]) for name in LIMITS}
    found = standard(comparisons_of([many_people(mean, sd_of_people, sd_within)]), limits)
    assert (found.enough[0], found.first[0, 0], found.second[0, 0]) == (True, first, second)
    assert (found.mean[0, 0], found.sd_of_people[0, 0]) == pytest.approx((mean, sd_of_people), abs=1e-9)
    assert not standard(comparisons_of([many_people(mean, sd_of_people, sd_within, 84)]), limits).enough[0]
