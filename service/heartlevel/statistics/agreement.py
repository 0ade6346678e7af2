"""Agreement of a person's device with a reference: bias, limits of agreement, and a verdict by equivalence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from heartlevel.columns import Bools, Floats, count_by, sum_by

VERDICTS = ("agrees", "undecided", "disagrees")
AGREES, UNDECIDED, DISAGREES = range(3)
PRESSURES = ("systolic", "diastolic")


@dataclass(frozen=True, slots=True)
class Agreement:
    """One column a device check; the first axis is systolic, diastolic. Differences are device − reference.

    `low` and `high` are the limits of agreement, bias ± 1.96 sd (Bland and Altman 1986); NaN for one pair.
    """

    pairs: Floats
    bias: Floats
    bias_interval95: Floats  # axes: low/high, pressure, check
    sd: Floats
    low: Floats
    high: Floats
    verdict: Floats  # place in VERDICTS


def agreement(checks: Sequence[Mapping[str, Any]], largest_bias: Floats) -> Agreement:
    """Compare each check's pairs. `largest_bias` (mm[Hg], one a check) is what still counts as agreeing.

    The verdict is an equivalence test at 5 %: `agrees` only where the 90 % interval of the bias lies within
    ± largest_bias for both pressures, `disagrees` where the 95 % interval of either lies wholly outside.
    """
    if not checks:
        return _no_agreement()
    of_check = np.array([place for place, check in enumerate(checks) for _ in check["pairs"]], dtype=np.int64)
    pairs = [pair for check in checks for pair in check["pairs"]]
    size, count = len(checks), count_by(of_check, len(checks))
    differences = np.array(
        [[pair["device"][name] - pair["reference"][name] for pair in pairs] for name in PRESSURES],
        dtype=np.float64,
    ).reshape(2, -1)
    with np.errstate(invalid="ignore", divide="ignore"):
        bias = np.stack([sum_by(of_check, size, row) / count for row in differences])
        away = (differences - bias[:, of_check]) ** 2
        sd = np.sqrt(np.stack([sum_by(of_check, size, row) for row in away]) / (count - 1))
        error = sd / np.sqrt(count)
        degrees = np.where(count > 1, count - 1, np.nan)
        half95, half90 = stdtrit(degrees, 0.975) * error, stdtrit(degrees, 0.95) * error
    inside: Bools = np.logical_and(*(np.abs(bias) + half90 <= largest_bias))
    outside: Bools = np.logical_or(*(np.abs(bias) - half95 > largest_bias))
    verdict = _verdict(inside, outside)
    interval = np.stack([bias - half95, bias + half95])
    return Agreement(count, bias, interval, sd, bias - 1.96 * sd, bias + 1.96 * sd, verdict)


def _no_agreement() -> Agreement:
    none, both = np.zeros(0), np.zeros((len(PRESSURES), 0))
    return Agreement(none, both, np.zeros((2, len(PRESSURES), 0)), both, both, both, none)


def _verdict(inside: Bools, outside: Bools) -> Floats:
    return np.select([outside, inside], [DISAGREES, AGREES], UNDECIDED).astype(np.float64)
