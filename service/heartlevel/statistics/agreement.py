"""Agreement of a person's device with a reference: bias, limits of agreement, and a verdict by equivalence."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtr, stdtrit

from heartlevel.columns import Floats
from heartlevel.statistics.comparisons import Comparisons
from heartlevel.vocabulary import PRESSURES

VERDICTS = ("agrees", "undecided", "disagrees")
AGREES, UNDECIDED, DISAGREES = range(3)
ALONE = 1e-9  # an occasion whose leverage is 1 but for this decides a slope by itself
WIDTH = 1.96  # standard deviations from the bias to a limit of agreement (Bland and Altman 1999)


@dataclass(frozen=True, slots=True)
class Slope:
    """Proportional bias: slope of device − reference on their mean, least squares over occasions' means.

    mm[Hg] per mm[Hg]; NaN for fewer than three occasions, or where all have the same mean pressure.

    Which of the two scatters more is not known, and a slope on the mean is then found without any (Bland and Altman, Lancet
    1995, for one on the reference alone; from memory). So the interval spans those of the slopes on the mean, on the
    reference and on the device, and p is the largest: there is proportional bias only if there is whichever of the two
    scatters. All allow for differences that scatter more at some pressures (errors HC3, MacKinnon and White 1985, from
    memory); NaN where one occasion alone decides a slope.
    """

    slope: Floats
    interval95: Floats  # axes: low/high, pressure, check
    p: Floats  # two-sided, of no slope


@dataclass(frozen=True, slots=True)
class Agreement:
    """One column a device check; the first axis is systolic, diastolic. Differences are device − reference.

    `bias` is the mean of the occasions' mean differences, so that one with many pairs weighs no more than others.
    `sd` is that of single differences, from within and between occasions. `low` and `high` are the limits of
    agreement, bias ± 1.96 sd, each with the t interval of its full standard error. NaN for one occasion.
    """

    pairs: Floats
    occasions: Floats
    bias: Floats
    bias_interval95: Floats  # axes of the intervals: low/high, pressure, check
    sd: Floats
    low: Floats
    high: Floats
    low_interval95: Floats
    high_interval95: Floats
    slope: Slope
    verdict: Floats  # index into VERDICTS


def agreement(compared: Comparisons, largest_bias: Floats, minimum_pairs: Floats) -> Agreement:
    """Compare each check's pairs. `largest_bias` (mm[Hg], one a check) is what still counts as agreeing.

    The verdict is an equivalence test at 5 %: `agrees` only where the 90 % interval of the bias lies within
    ± largest_bias for both pressures and there are at least `minimum_pairs` independent comparisons, `disagrees`
    where the 95 % interval of either lies wholly outside.
    """
    count = compared.occasions
    with np.errstate(invalid="ignore", divide="ignore"):
        means = compared.mean_by_occasion(compared.differences)
        bias = compared.sum_occasions(means) / count
        spread = compared.sum_occasions((means - bias[:, compared.check_of_occasion]) ** 2) / (count - 1)
        by_assumption = zip(_constant_pressure(compared, spread), _changing_pressure(compared, means), strict=True)
        variance, uncertainty = (np.where(compared.constant, *figures) for figures in by_assumption)
        degrees = np.where(count > 1, count - 1, np.nan)
        error = np.sqrt(spread / count)
        half95, half90 = stdtrit(degrees, 0.975) * error, stdtrit(degrees, 0.95) * error
        limit_error = np.sqrt(spread / count + WIDTH**2 * _over(uncertainty, 4 * variance))
        sd, half_limit = np.sqrt(variance), stdtrit(degrees, 0.975) * limit_error
    inside = np.logical_and(*(np.abs(bias) + half90 <= largest_bias)) & (count >= minimum_pairs)
    outside = np.logical_or(*(np.abs(bias) - half95 > largest_bias))
    low, high = bias - WIDTH * sd, bias + WIDTH * sd
    return Agreement(
        pairs=compared.pairs,
        occasions=count,
        bias=bias,
        bias_interval95=_around(bias, half95),
        sd=sd,
        low=low,
        high=high,
        low_interval95=_around(low, half_limit),
        high_interval95=_around(high, half_limit),
        slope=_slope(compared, means),
        verdict=np.select([outside, inside], [DISAGREES, AGREES], UNDECIDED).astype(np.float64),
    )


def _around(centre: Floats, half: Any) -> Floats:
    return np.stack([centre - half, centre + half])


def _over(part: Floats, whole: Floats) -> Floats:
    """Divide, 0 / 0 being 0: without any spread, the error of a limit of agreement is that of the bias."""
    return np.where(whole == 0, 0.0, part / whole)


def _constant_pressure(compared: Comparisons, spread: Floats) -> tuple[Floats, Floats]:
    """Return the variance of single differences and the variance of that estimate (normal differences).

    The true pressure is taken as the same within an occasion (Bland and Altman 1999, section 5).
    """
    degrees = np.maximum(compared.pairs - compared.occasions, 1)
    reciprocal = compared.sum_occasions(np.stack([1 / compared.replicates] * len(PRESSURES))) / compared.occasions
    share = 1 - reciprocal
    extra = [np.nan_to_num(share * compared.within(values)) for values in (compared.device, compared.reference)]
    uncertainty = 2 * spread**2 / (compared.occasions - 1) + sum(2 * variance**2 / degrees for variance in extra)
    return spread + extra[0] + extra[1], uncertainty


def _changing_pressure(compared: Comparisons, means: Floats) -> tuple[Floats, Floats]:
    """Return the same where the true pressure changes from pair to pair: one-way analysis of variance of the differences.

    Bland and Altman 2007. A negative estimate between occasions counts as none.
    """
    freedom = compared.occasions - 1
    squares = compared.sum_occasions(np.stack([compared.replicates**2] * len(PRESSURES)))
    size = (compared.pairs**2 - squares) / (freedom * compared.pairs)
    centre = compared.sum_pairs(compared.differences) / compared.pairs
    away = compared.replicates * (means - centre[:, compared.check_of_occasion]) ** 2
    between, within = compared.sum_occasions(away) / freedom, np.nan_to_num(compared.within(compared.differences))
    degrees = np.maximum(compared.pairs - compared.occasions, 1)
    variance = np.where(between < within, within, (between - within) / size + within)
    uncertainty = 2 * (between / size) ** 2 / freedom + 2 * ((1 - 1 / size) * within) ** 2 / degrees
    return np.where(freedom > 0, variance, np.nan), uncertainty


def _slope(compared: Comparisons, means: Floats) -> Slope:
    device, reference = (compared.mean_by_occasion(values) for values in (compared.device, compared.reference))
    lines = [_line(compared, means, level) for level in ((device + reference) / 2, reference, device)]
    low, high = (np.stack([line.interval95[end] for line in lines]) for end in (0, 1))
    return Slope(lines[0].slope, np.stack([low.min(axis=0), high.max(axis=0)]), np.max([line.p for line in lines], axis=0))


def _line(compared: Comparisons, means: Floats, level: Floats) -> Slope:
    """Fit occasions' mean differences to a line in `level`.

    Variance of the slope (HC3): Σ (x · rest / (1 − leverage))² / (Σ x²)², x being level less its mean.
    """
    count, of_check = compared.occasions, compared.check_of_occasion
    with np.errstate(invalid="ignore", divide="ignore"):
        x = level - (compared.sum_occasions(level) / count)[:, of_check]
        y = means - (compared.sum_occasions(means) / count)[:, of_check]
        across, along = compared.sum_occasions(x * x), compared.sum_occasions(x * y)
        known = (count >= 3) & (across > 1e-9)
        slope = np.where(known, along / across, np.nan)
        leverage = 1 / count[of_check] + x * x / across[:, of_check]
        weighed = x * (y - np.nan_to_num(slope)[:, of_check] * x) / (1 - leverage)
        alone = compared.sum_occasions((leverage > 1 - ALONE).astype(np.float64)) > 0
        error = np.where(known & ~alone, np.sqrt(compared.sum_occasions(weighed**2)) / across, np.nan)
        degrees = np.where(count >= 3, count - 2, np.nan)
        p = 2 * stdtr(degrees, -np.abs(slope) / error)
    return Slope(slope, _around(slope, stdtrit(degrees, 0.975) * error), p)
