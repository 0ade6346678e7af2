"""How much too high home readings are expected to be for technique, recorded or not. It serves probabilities alone."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Floats


@dataclass(frozen=True, slots=True)
class Fault:
    """A technique fault and its part in each mean. A person's own error lies anywhere between `low` and `high`."""

    low: Floats  # mm[Hg], one a pressure
    high: Floats
    usual: float  # how often it is there where nothing is recorded of it
    found: Floats  # share of a mean's readings that have it
    unrecorded: Floats  # share of which it is not known


@dataclass(frozen=True, slots=True)
class Excess:
    """By how much means read too high (mm[Hg]; a row a pressure, a column a mean), and how unsure that is."""

    mean: Floats
    variance: Floats
    covariance: Floats  # of systolic with diastolic


def expected_excess(faults: Sequence[Fault], in_all: Floats, size: int) -> Excess:
    """Return the excess that faults make together in so many means, as distributions; none of it is certain.

    Someone who has a fault and records nothing is taken to have it in all those readings, so that it does not average
    out; a person's place within the range is the same for both pressures. `in_all`, one a pressure, is what usual
    faults are published to come to together, which is less than their sum.
    """
    mean, variance, covariance = np.zeros((2, size)), np.zeros((2, size)), np.zeros(size)
    together = _share_together(faults, in_all)
    for one in faults:  # one by one: a sum must not depend on what else is in the batch
        middle, spread = (one.low + one.high) / 2 * together, (one.high - one.low) / 12**0.5 * together  # uniform
        share = one.found + one.unrecorded * one.usual
        square = share**2 + one.unrecorded**2 * one.usual * (1 - one.usual)
        mean += middle[:, None] * share
        variance += (middle**2 + spread**2)[:, None] * square - (middle**2)[:, None] * share**2
        covariance += (middle.prod() + spread.prod()) * square - middle.prod() * share**2
    return Excess(mean, np.maximum(variance, 0), covariance)


def _share_together(faults: Sequence[Fault], in_all: Floats) -> Floats:
    """Return the share of their sum that faults come to; never above 1, so that none is taken for more than published."""
    total = sum(((one.low + one.high) / 2 * one.usual for one in faults), np.zeros(2))
    return np.where(total > in_all, in_all / np.where(total > 0, total, 1), 1.0)
