"""How much too high home readings are expected to be for technique, recorded or not. It serves probabilities alone."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Floats


@dataclass(frozen=True, slots=True)
class Fault:
    """A technique fault and its part in each mean. One person's error lies anywhere between `low` and `high`."""

    low: Floats  # mm[Hg], one a pressure
    high: Floats
    usual: float  # how often it is present where it is not recorded
    present: Floats  # share of a mean's readings that have it
    unrecorded: Floats  # share for which it is unknown


@dataclass(frozen=True, slots=True)
class Excess:
    """By how much means read too high (mm[Hg]; a row a pressure, a column a mean), and how unsure that is."""

    mean: Floats
    variance: Floats
    covariance: Floats  # of systolic with diastolic


def expected_excess(faults: Sequence[Fault], in_all: Floats, size: int) -> Excess:
    """Return the excess that faults together put into `size` means, as a distribution: none of it is certain.

    Someone who has a fault and records nothing is taken to have it in all those readings, so that it does not average
    out; a person's place within the range is the same for both pressures. `in_all`, one a pressure, is what usual
    faults are published to come to together, which is less than their sum.
    """
    mean, variance, covariance = np.zeros((2, size)), np.zeros((2, size)), np.zeros(size)
    together = _share_together(faults, in_all)
    for fault in faults:  # in turn: a sum must not depend on what else is in the batch
        middle, spread = (fault.low + fault.high) / 2 * together, (fault.high - fault.low) / 12**0.5 * together  # uniform
        share = fault.present + fault.unrecorded * fault.usual
        square = share**2 + fault.unrecorded**2 * fault.usual * (1 - fault.usual)
        mean += middle[:, None] * share
        variance += (middle**2 + spread**2)[:, None] * square - (middle**2)[:, None] * share**2
        covariance += (middle.prod() + spread.prod()) * square - middle.prod() * share**2
    return Excess(mean, np.maximum(variance, 0), covariance)


def _share_together(faults: Sequence[Fault], in_all: Floats) -> Floats:
    """Return by what share to scale all faults so that their sum is `in_all`; at most 1: none counts above its range."""
    total = sum(((fault.low + fault.high) / 2 * fault.usual for fault in faults), np.zeros(2))
    return np.where(total > in_all, in_all / np.where(total > 0, total, 1), 1.0)
