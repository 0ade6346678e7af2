"""Agreement against what was published of six data sets; two have unequal numbers of pairs a person.

The figures are quoted beside the data by public material that was read: a worked demonstration by E. Huizinga (Bland-Altman
analysis in MATLAB, "BADEMO") quotes Bland and Altman, Stat Methods Med Res 1999;8:135 and J Biopharm Stat 2007;17:571. The
data were read from the R package MethComp 1.30.2, which names the same tables; they are kept here as numbers. Of peak flow
and of fat in milk that package names paper and table, and the published figures are quoted from memory.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from heartlevel.statistics.agreement import agreement
from heartlevel.statistics.comparisons import comparisons_of

FOLDER = Path(__file__).parent / "agreement"


def rows(name):
    with (FOLDER / f"{name}.csv").open() as text:
        return [(one["person"], float(one["device"]), float(one["reference"])) for one in csv.DictReader(text)]


def first_of_each(some):
    return list({person: (person, *values) for person, *values in reversed(some)}.values())


def of_both(value):
    return {"systolic": value, "diastolic": value}


def compared(some, **more):
    """The pairs as columns, and how they agree; both pressures are given the same values."""
    sides = ("device", "reference")
    pairs = [{"occasion": person, **dict(zip(sides, map(of_both, values), strict=True))} for person, *values in some]
    columns, five = comparisons_of([{"pairs": pairs, **more}]), np.full(1, 5.0)
    return columns, agreement(columns, five, five)


# source: Bland and Altman 1999, section 2, table 1: systolic pressure, observer J and machine S, first readings, n = 85
def test_one_reading_a_person_of_blood_pressure():
    _, found = compared(first_of_each(rows("blood-pressure")))
    assert (found.occasions[0], found.bias[0, 0], found.sd[0, 0]) == pytest.approx((85, -16.29, 19.61), abs=0.006)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-54.7, 22.1), abs=0.06)
    # They give intervals by 1.96 and the short error of a limit; ours are wider by t and the full error, 3.5 % here.
    assert found.bias_interval95[:, 0, 0] == pytest.approx([-20.5, -12.1], abs=0.1)
    assert found.low_interval95[:, 0, 0] == pytest.approx([-61.9, -47.5], abs=0.3)
    assert found.high_interval95[:, 0, 0] == pytest.approx([14.9, 29.3], abs=0.3)


# source: the same without persons 78 and 80, whose differences stand out; the printed mean, -14.9, does not fit the limits
def test_without_two_persons_that_stand_out():
    _, found = compared([one for one in first_of_each(rows("blood-pressure")) if one[0] not in ("78", "80")])
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-43.6, 15.0), abs=0.06)


# source: the same, section 5.1: three readings each, the true pressure constant
def test_three_readings_a_person_of_blood_pressure():
    pairs, found = compared(rows("blood-pressure"), true_pressure="constant")
    assert pairs.within(pairs.device)[0, 0] == pytest.approx(37.408, abs=6e-4)
    assert pairs.within(pairs.reference)[0, 0] == pytest.approx(83.141, abs=6e-4)
    assert (found.pairs[0], found.bias[0, 0], found.sd[0, 0]) == pytest.approx((255, -15.62, 20.95), abs=0.006)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-56.68, 25.44), abs=0.02)


# source: Bland and Altman 1999, section 5.2, table 4: cardiac output of 12 persons, three to six pairs each, by two methods
def test_unequal_readings_of_a_constant_truth():
    pairs, found = compared(rows("cardiac-output"), true_pressure="constant")
    assert sorted(set(pairs.replicates.tolist())) == [3, 4, 5, 6]
    assert pairs.within(pairs.device)[0, 0] == pytest.approx(0.1072, abs=6e-5)
    assert pairs.within(pairs.reference)[0, 0] == pytest.approx(0.1379, abs=6e-5)
    assert found.bias[0, 0] == pytest.approx(0.7092, abs=6e-5)
    assert found.sd[0, 0] == pytest.approx(1.0517, abs=2e-4)  # printed from components that may have been rounded before
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((-1.3521, 2.7705), abs=4e-4)


# source: Bland and Altman 2007, section 3: the same data, the truth changing from pair to pair; they take the mean of all
# pairs for the bias, this service that of the persons' means
def test_unequal_readings_of_a_changing_truth():
    pairs, found = compared(rows("cardiac-output"))
    assert found.sd[0, 0] == pytest.approx(0.99062408, abs=5e-8)
    mean = pairs.differences[0].mean()
    assert mean == pytest.approx(0.6021667, abs=5e-8)
    limits = [mean - 1.96 * found.sd[0, 0], mean + 1.96 * found.sd[0, 0]]
    assert limits == pytest.approx([-1.3394565, 2.5437899], abs=5e-5)  # theirs take 1.959964


# source: Bland and Altman 1999, section 3.1, table 2: plasma volume by two sets of normal values, n = 99, on logarithms
def test_ratios_by_logarithms_of_plasma_volume():
    logs = [(person, np.log(device), np.log(reference)) for person, device, reference in rows("plasma-volume")]
    _, found = compared(logs)
    assert (found.occasions[0], found.bias[0, 0]) == pytest.approx((99, 0.099), abs=6e-4)
    assert (found.low[0, 0], found.high[0, 0]) == pytest.approx((0.056, 0.141), abs=6e-4)
    assert found.low_interval95[:, 0, 0] == pytest.approx([0.049, 0.064], abs=1e-3)


# source: Bland and Altman, Lancet 1986;1:307 (data read, figures from memory): peak flow by a large meter and a small one,
# 17 persons, first readings; the bias has the standard error 9.4
def test_one_reading_a_person_of_peak_flow():
    _, found = compared(first_of_each(rows("peak-flow")))
    assert (found.occasions[0], found.bias[0, 0], found.sd[0, 0]) == pytest.approx((17, -2.1, 38.8), abs=0.051)
    assert found.bias_interval95[:, 0, 0] == pytest.approx([-22.0, 17.8], abs=0.06)


# source: the same paper: the two readings of the large meter differ with SD 21.6, those of the small one with SD 28.2
def test_two_readings_a_person_of_peak_flow():
    pairs, found = compared(rows("peak-flow"), true_pressure="constant")
    within = [pairs.within(side)[0, 0] for side in (pairs.device, pairs.reference)]
    assert np.sqrt(np.multiply(within, 2)) == pytest.approx([21.6, 28.2], abs=0.06)
    assert found.pairs[0] == 34


# source: Bland and Altman 1999, section 3.2, table 3 (data read, figures from memory): fat in human milk by glycerol and by
# the Gerber method, 45 samples; difference = 0.079 - 0.0283 of the mean
def test_a_difference_that_grows_with_the_mean_of_fat_in_milk():
    _, found = compared(rows("milk-fat"))
    assert (found.occasions[0], found.slope.slope[0, 0]) == pytest.approx((45, -0.0283), abs=6e-5)


# reference: 61 children, three pairs for most (MethComp, data set `ox`); components of variance by statsmodels
def test_unequal_readings_of_oxygen_saturation_have_the_components_of_an_analysis_of_variance():
    from statsmodels.api import OLS

    some = rows("oxygen-saturation")
    pairs, found = compared(some)
    assert sorted(set(pairs.replicates.tolist())) == [1, 2, 3]
    people = np.array([person for person, *_ in some])
    difference = np.array([device - reference for _, device, reference in some])
    sizes = np.unique(people, return_counts=True)[1]
    fitted = OLS(difference, (people[:, None] == np.unique(people)).astype(float)).fit()
    between = (fitted.centered_tss - fitted.ssr) / (len(sizes) - 1)
    size = (sizes.sum() ** 2 - (sizes**2).sum()) / ((len(sizes) - 1) * sizes.sum())
    variance = (between - fitted.mse_resid) / size + fitted.mse_resid
    assert found.sd[0, 0] ** 2 == pytest.approx(variance, rel=1e-9)
