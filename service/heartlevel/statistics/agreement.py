"""Agreement of a person's device with a reference: bias, limits of agreement, and a verdict by equivalence."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtr, stdtrit

from heartlevel.columns import Bools, Floats
from heartlevel.statistics.comparisons import PRESSURES, Comparisons

VERDICTS = ("agrees", "undecided", "disagrees")
AGREES, UNDECIDED, DISAGREES = range(3)
WIDTH = 1.96  # standard deviations from the bias to a limit of agreement (Bland and Altman 1999)


@dataclass(frozen=True, slots=True)
class Slope:
    """Proportional bias: slope of device − reference on their mean, least squares over occasions' means.

    mm[Hg] per mm[Hg]; NaN for fewer than three occasions, or where all have the same mean pressure.
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
    verdict: Floats  # place in VERDICTS


def agreement(of: Comparisons, largest_bias: Floats, minimum_pairs: Floats) -> Agreement:
    """Compare each check's pairs. `largest_bias` (mm[Hg], one a check) is what still counts as agreeing.

    The verdict is an equivalence test at 5 %: `agrees` only where the 90 % interval of the bias lies within
    ± largest_bias for both pressures and there are at least `minimum_pairs` independent comparisons, `disagrees`
    where the 95 % interval of either lies wholly outside.
    """
    count = of.occasions
    with np.errstate(invalid="ignore", divide="ignore"):
        means = of.of_occasions(of.differences)
        bias = of.of_checks_by_occasion(means) / count
        spread = of.of_checks_by_occasion((means - bias[:, of.check_of_occasion]) ** 2) / (count - 1)
        variance, uncertainty = _variance(of, means, spread)
        degrees = np.where(count > 1, count - 1, np.nan)
        error = np.sqrt(spread / count)
        half95, half90 = stdtrit(degrees, 0.975) * error, stdtrit(degrees, 0.95) * error
        of_limit = np.sqrt(spread / count + WIDTH**2 * _over(uncertainty, 4 * variance))
        sd, half_limit = np.sqrt(variance), stdtrit(degrees, 0.975) * of_limit
    inside = np.logical_and(*(np.abs(bias) + half90 <= largest_bias)) & (count >= minimum_pairs)
    outside = np.logical_or(*(np.abs(bias) - half95 > largest_bias))
    low, high = bias - WIDTH * sd, bias + WIDTH * sd
    return Agreement(
        pairs=of.pairs,
        occasions=count,
        bias=bias,
        bias_interval95=_around(bias, half95),
        sd=sd,
        low=low,
        high=high,
        low_interval95=_around(low, half_limit),
        high_interval95=_around(high, half_limit),
        slope=_slope(of, means),
        verdict=_verdict(inside, outside),
    )


def _around(centre: Floats, half: Any) -> Floats:
    return np.stack([centre - half, centre + half])


def _over(part: Floats, whole: Floats) -> Floats:
    """Divide; nothing of nothing is nothing: without any spread, a limit's error is that of the bias."""
    return np.where(whole == 0, 0.0, part / whole)


def _variance(of: Comparisons, means: Floats, spread: Floats) -> tuple[Floats, Floats]:
    """Return the variance of single differences and the variance of that estimate (normal differences)."""
    constant, changing = _of_constant(of, spread), _of_changing(of, means)
    chosen = [np.where(of.constant, one, other) for one, other in zip(constant, changing, strict=True)]
    return chosen[0], chosen[1]


def _of_constant(of: Comparisons, spread: Floats) -> tuple[Floats, Floats]:
    """Take the true pressure as the same within an occasion (Bland and Altman 1999, section 5)."""
    degrees = np.maximum(of.pairs - of.occasions, 1)
    reciprocal = of.of_checks_by_occasion(np.stack([1 / of.replicates] * len(PRESSURES))) / of.occasions
    share = 1 - reciprocal
    extra = [np.nan_to_num(share * of.within(values)) for values in (of.device, of.reference)]
    uncertainty = 2 * spread**2 / (of.occasions - 1) + sum(2 * one**2 / degrees for one in extra)
    return spread + extra[0] + extra[1], uncertainty


def _of_changing(of: Comparisons, means: Floats) -> tuple[Floats, Floats]:
    """Let the true pressure change from pair to pair: one-way analysis of variance of the differences.

    Bland and Altman 2007. A negative estimate between occasions counts as none.
    """
    freedom = of.occasions - 1
    squares = of.of_checks_by_occasion(np.stack([of.replicates**2] * len(PRESSURES)))
    size = (of.pairs**2 - squares) / (freedom * of.pairs)
    centre = of.of_checks(of.differences) / of.pairs
    away = of.replicates * (means - centre[:, of.check_of_occasion]) ** 2
    between, within = of.of_checks_by_occasion(away) / freedom, np.nan_to_num(of.within(of.differences))
    degrees = np.maximum(of.pairs - of.occasions, 1)
    variance = np.where(between < within, within, (between - within) / size + within)
    uncertainty = 2 * (between / size) ** 2 / freedom + 2 * ((1 - 1 / size) * within) ** 2 / degrees
    return np.where(freedom > 0, variance, np.nan), uncertainty


def _slope(of: Comparisons, means: Floats) -> Slope:
    count = of.occasions
    with np.errstate(invalid="ignore", divide="ignore"):
        level = of.of_occasions((of.device + of.reference) / 2)
        x = level - (of.of_checks_by_occasion(level) / count)[:, of.check_of_occasion]
        y = means - (of.of_checks_by_occasion(means) / count)[:, of.check_of_occasion]
        across, along = of.of_checks_by_occasion(x * x), of.of_checks_by_occasion(x * y)
        known = (count >= 3) & (across > 1e-9)
        slope = np.where(known, along / across, np.nan)
        rest = of.of_checks_by_occasion((y - np.nan_to_num(slope)[:, of.check_of_occasion] * x) ** 2)
        degrees = np.where(count >= 3, count - 2, np.nan)
        error = np.sqrt(rest / degrees / across)
        p = 2 * stdtr(degrees, -np.abs(slope) / error)
    return Slope(slope, _around(slope, stdtrit(degrees, 0.975) * error), p)


def _verdict(inside: Bools, outside: Bools) -> Floats:
    return np.select([outside, inside], [DISAGREES, AGREES], UNDECIDED).astype(np.float64)
