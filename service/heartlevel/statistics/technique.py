"""How much too high averages are expected to be for errors that their readings share. It serves probabilities alone."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Floats, Ints


@dataclass(frozen=True)
class Faults:
    """Technique faults and their parts in each mean. One person's error lies anywhere between `low` and `high`."""

    low: Floats  # mm[Hg]; axes: fault, pressure
    high: Floats
    usual: Floats  # how often each is present where it is not recorded; axes: fault, mean, or 1 where it is so in all means
    present: Floats  # share of a mean's readings that have it; axes: fault, mean
    unrecorded: Floats  # share for which it is unknown

    @property
    def reads_high(self) -> Bools:
        """Mark the faults by which a reading may be too high."""
        marked: Bools = np.any(self.high > 0, axis=1)
        return marked

    @property
    def reads_low(self) -> Bools:
        """Mark the faults by which a reading may be too low."""
        marked: Bools = np.any(self.low < 0, axis=1)
        return marked

    @cached_property
    def middle(self) -> Floats:
        """The expected error of who has the fault; axes: fault, pressure, 1 for all means."""
        return ((self.low + self.high) / 2)[:, :, None]

    @cached_property
    def spread(self) -> Floats:
        """The standard deviation of that, as of a uniform distribution."""
        return ((self.high - self.low) / 12**0.5)[:, :, None]


@dataclass(frozen=True, slots=True)
class Excess:
    """By how much means read too high (mm[Hg]; a row a pressure, a column a mean), and how unsure that is.

    Of several errors the first axis of everything is the error.
    """

    high: Floats  # what reads too high, in all
    low: Floats  # what reads too low, in all: negative
    variance: Floats
    covariance: Floats  # of systolic with diastolic; without the axis of pressures

    @property
    def mean(self) -> Floats:
        """By how much means read too high in all."""
        return self.high + self.low

    def at(self, means: Ints) -> "Excess":
        """Return the errors of some of the means."""
        parts = (self.high, self.low, self.variance, self.covariance)
        return Excess(*(part[..., means] for part in parts))

    def __getitem__(self, chosen: Any) -> "Excess":
        """Return some of several errors, or one of them."""
        return Excess(self.high[chosen], self.low[chosen], self.variance[chosen], self.covariance[chosen])

    def __add__(self, other: "Excess") -> "Excess":
        """Return two independent errors together."""
        return Excess(self.high + other.high, self.low + other.low, self.variance + other.variance,
                      self.covariance + other.covariance)  # fmt: skip

    def added(self) -> "Excess":
        """Return several independent errors together, added in turn: a sum must not depend on the rest of a batch."""
        parts = (self.high, self.low, self.variance, self.covariance)
        return Excess(*(np.add.reduce(part, axis=0, initial=0.0) for part in parts))


def excess_of(mean: Floats, spread: Floats) -> Excess:
    """Return errors of these means and standard deviations, the same part of each in both pressures."""
    return Excess(np.maximum(mean, 0), np.minimum(mean, 0), spread**2, spread[..., 0, :] * spread[..., 1, :])


def known_excess(faults: Faults, together: Floats) -> Excess:
    """Return the error that each fault puts into means by its part in their readings, by its published size.

    Of several faults the strongest counts in full and the others by the share `together` (a row a pressure, a column a
    mean) by which usual faults come to less than their sum.
    """
    scale = np.where(_strongest(faults)[:, None], 1.0, together)
    present = faults.present[:, None]
    return excess_of(faults.middle * present * scale, faults.spread * present * scale)


def _strongest(faults: Faults) -> Bools:
    """Mark in each mean (a column) the fault (a row) that moves both pressures most; the first of equals."""
    moved = np.abs(faults.middle).sum(axis=1) * faults.present
    if not len(moved):
        return np.zeros(moved.shape, dtype=np.bool_)
    strongest: Bools = moved.argmax(axis=0) == np.arange(len(moved))[:, None]
    return strongest


def usual_excess(faults: Faults, together: Floats) -> Excess:
    """Return the error that each fault may put into means where nobody recorded whether it was there.

    Someone who has a fault and records nothing is taken to have it in all those readings, so that it does not average
    out; a person's size of it is the same for both pressures. With share u of the readings, chance p, middle m and spread
    s: mean m u p, variance u² (m² p (1 − p) + s² p) — the variance of a Bernoulli times a uniform variable.
    """
    chance, unrecorded = faults.usual[:, None], faults.unrecorded[:, None]
    middle, spread = faults.middle * together * unrecorded, faults.spread * together * unrecorded
    mean = middle * chance
    square = middle**2 * chance * (1 - chance) + spread**2 * chance
    joint = middle.prod(axis=1) * faults.usual * (1 - faults.usual) + spread.prod(axis=1) * faults.usual
    return Excess(np.maximum(mean, 0), np.minimum(mean, 0), square, joint)


def share_together(faults: Faults, in_all: Floats) -> Floats:
    """Return by what share to scale usual faults so that their sum is `in_all` (mm[Hg], a row a pressure, a column a mean).

    At most 1: none counts above its range.
    """
    total = np.add.reduce(faults.middle * faults.usual[:, None], axis=0, initial=0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        scale: Floats = np.where(total > in_all, in_all / total, 1.0)
    return scale
