"""The stepwise check of one person's device: a few readings taken in turn, their differences judged by fixed bands.

A screening rule (published, quoted from memory), not the accuracy standard's; bands and order are the protocol's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from heartlevel.columns import TOLERANCE, Bools, Floats
from heartlevel.statistics.comparisons import REFERENCE
from heartlevel.vocabulary import PRESSURES

PROCEDURE_VERDICTS = ("usable", "go-on", "replace", "order-not-followed")
USABLE, GO_ON, REPLACE, NOT_FOLLOWED = range(4)
BANDS = ("usable_within", "doubtful_within", "mean_within")
LIMITS = (*BANDS, "sd_of_readings")
NODES, WEIGHTS = np.polynomial.legendre.leggauss(40)
STEPS = 3  # the device before the first reference, that reference, the device after it
SYSTOLIC = 0


@dataclass(frozen=True, slots=True)
class Procedure:
    """One column a device check; the first axis of differences is systolic, diastolic, in mm[Hg].

    Both differences are device − reference: `first` takes the device's reading before the first reference, `second`
    the mean of those before and after it. NaN where the readings were not taken in the order; all is NaN for pairs.
    """

    first: Floats
    second: Floats
    verdict: Floats  # index into PROCEDURE_VERDICTS
    replace_though_exact: Floats  # how often the check ends so for a device without bias, by chance alone
    usable_though_off: Floats  # and so for one that is off by the band beyond which it is to be replaced


def procedure(
    checks: Sequence[Mapping[str, Any]], orders: Sequence[Sequence[str]], within: Mapping[str, Floats]
) -> Procedure:
    """Judge each check's `sequence` by its protocol's order and by `within`, the protocol's LIMITS (mm[Hg], one a check).

    Systolic differences decide, each band's end included. Only the readings up to the one that decides have to be in
    order, so that a device found unusable at the first step is not cleared by what followed.
    """
    (before, reference, after), sent, strayed = _turns(checks, orders)
    first, second = before - reference, (before + after) / 2 - reference
    usable, doubtful = (_inside(first, within[name]) for name in ("usable_within", "doubtful_within"))
    known, seconded = (~np.isnan(difference[SYSTOLIC]) for difference in (first, second))
    decided = [
        (~sent, np.nan),
        (~known, NOT_FOLLOWED),
        (usable, USABLE),
        (~doubtful, REPLACE),
        (seconded & _inside(second, within["mean_within"]), USABLE),
        (seconded, REPLACE),
        (strayed, NOT_FOLLOWED),
    ]
    verdict = np.select([when for when, _ in decided], [then for _, then in decided], GO_ON).astype(np.float64)
    exact, off = (usable_by_chance(bias, within) for bias in (np.zeros_like(verdict), within["doubtful_within"]))
    return Procedure(first, second, verdict, 1 - exact, off)


def usable_by_chance(bias: Floats, within: Mapping[str, Floats]) -> Floats:
    """Return the probability that the whole check ends with `usable` for a device of this bias (mm[Hg], one a check).

    Readings scatter normally and independently with variance v, half of sd_of_readings squared. The first difference,
    before − reference, has variance 2v; the second, (before + after) / 2 − reference, has 3v/2, and both have covariance
    3v/2. Given the first, the second so has the mean bias + 3/4 (first − bias) and the variance 3v/8. It is integrated over
    the doubtful bands on both sides (Gauss-Legendre).
    """
    spread = within["sd_of_readings"]  # √(2v)
    usable, doubtful, second = (within[name] for name in BANDS)
    probable = ndtr((usable - bias) / spread) - ndtr((-usable - bias) / spread)
    half = (doubtful - usable) / 2
    for middle in ((usable + doubtful) / 2, -(usable + doubtful) / 2):
        first = middle + half * NODES[:, None]
        expected, rest = bias + 0.75 * (first - bias), spread * np.sqrt(3 / 16)
        passes = ndtr((second - expected) / rest) - ndtr((-second - expected) / rest)
        density = np.exp(-(((first - bias) / spread) ** 2) / 2) / (spread * np.sqrt(2 * np.pi))
        probable = probable + half * (WEIGHTS[:, None] * density * passes).sum(axis=0)
    total: Floats = probable
    return total


def _inside(difference: Floats, within: Floats) -> Bools:
    inside: Bools = np.abs(difference[SYSTOLIC]) <= within + TOLERANCE
    return inside


def _turns(checks: Sequence[Mapping[str, Any]], orders: Sequence[Sequence[str]]) -> tuple[Floats, Bools, Bools]:
    """Return the readings that decide (axes: step, pressure, check), as far as the order was followed.

    And by check whether a sequence was sent, and whether more readings follow: before all steps were taken, the next one
    was of the wrong device.
    """
    taken = np.full((STEPS, len(PRESSURES), len(checks)), np.nan)
    sent, strayed = np.zeros((2, len(checks)), dtype=np.bool_)
    for row, (check, order) in enumerate(zip(checks, orders, strict=True)):
        sequence = check.get("sequence")
        if sequence is None:
            continue
        last = order.index(REFERENCE) + 1
        in_turn = [reading["by"] == device for reading, device in zip(sequence, order[: last + 1], strict=False)]
        followed = [*in_turn, False].index(False)  # readings from the first on
        for step, reading in enumerate(sequence[last - 2 : followed]):
            taken[step, :, row] = [reading[name] for name in PRESSURES]
        sent[row], strayed[row] = True, followed < len(sequence)
    return taken, sent, strayed
