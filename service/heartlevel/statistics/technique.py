"""How much too high averages are expected to be for errors that their readings share. It serves probabilities alone."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from heartlevel.columns import Bools, Floats


@dataclass(frozen=True)
class Fault:
    """A technique fault and its part in each mean. One person's error lies anywhere between `low` and `high`."""

    low: Floats  # mm[Hg], one a pressure
    high: Floats
    usual: float | Floats  # how often it is present where it is not recorded
    present: Floats  # share of a mean's readings that have it
    unrecorded: Floats  # share for which it is unknown

    @cached_property
    def reads_high(self) -> bool:
        """Whether a reading may be too high by it."""
        return bool(self.high.max() > 0)

    @cached_property
    def reads_low(self) -> bool:
        """Whether a reading may be too low by it."""
        return bool(self.low.min() < 0)

    @cached_property
    def middle(self) -> Floats:
        """The expected error of who has the fault, a column of pressures."""
        return ((self.low + self.high) / 2)[:, None]

    @cached_property
    def spread(self) -> Floats:
        """The standard deviation of that, as of a uniform distribution, a column of pressures."""
        return ((self.high - self.low) / 12**0.5)[:, None]


@dataclass(frozen=True, slots=True)
class Excess:
    """By how much means read too high (mm[Hg]; a row a pressure, a column a mean), and how unsure that is."""

    high: Floats  # what reads too high, in all
    low: Floats  # what reads too low, in all: negative
    variance: Floats
    covariance: Floats  # of systolic with diastolic

    @property
    def mean(self) -> Floats:
        """By how much means read too high in all."""
        return self.high + self.low


def excess_of(mean: Floats, spread: Floats) -> Excess:
    """Return an error of this mean and standard deviation, the same part of it in both pressures."""
    return Excess(np.maximum(mean, 0), np.minimum(mean, 0), spread**2, spread[0] * spread[1])


def added(parts: Iterable[Excess], size: int) -> Excess:
    """Return independent errors of `size` means together, added in turn: a sum must not depend on the rest of a batch."""
    high, low, variance, covariance = np.zeros((2, size)), np.zeros((2, size)), np.zeros((2, size)), np.zeros(size)
    for part in parts:
        high, low = high + part.high, low + part.low
        variance, covariance = variance + part.variance, covariance + part.covariance
    return Excess(high, low, variance, covariance)


def known_excess(faults: Sequence[Fault], together: Floats) -> list[Excess]:
    """Return the error that each fault puts into means by its part in their readings, by its published size.

    Of several faults the strongest counts in full and the others by the share `together` (a row a pressure, a column a
    mean) by which usual faults come to less than their sum.
    """
    first = _strongest(faults)
    return [
        excess_of(fault.middle * fault.present * scale, fault.spread * fault.present * scale)
        for fault, strongest in zip(faults, first, strict=True)
        for scale in [np.where(strongest, 1.0, together)]
    ]


def _strongest(faults: Sequence[Fault]) -> Bools:
    """Mark in each mean (a column) the fault (a row) that moves both pressures most; the first of equals."""
    if not faults:
        return np.zeros((0, 0), dtype=np.bool_)
    moved = np.array([np.abs(fault.middle).sum() * fault.present for fault in faults])
    strongest: Bools = moved.argmax(axis=0) == np.arange(len(faults))[:, None]
    return strongest


def usual_excess(faults: Sequence[Fault], together: Floats) -> list[Excess]:
    """Return the error that each fault may put into means where nobody recorded whether it was there.

    Someone who has a fault and records nothing is taken to have it in all those readings, so that it does not average
    out; a person's size of it is the same for both pressures. With share u of the readings, chance p, middle m and spread
    s: mean m u p, variance u² (m² p (1 − p) + s² p) — the variance of a Bernoulli times a uniform variable.
    """
    if not faults:
        return []
    # Axes: fault, pressure, mean.
    unrecorded = np.array([fault.unrecorded for fault in faults])[:, None]
    chance = np.array([np.broadcast_to(fault.usual, together.shape[1:]) for fault in faults])[:, None]
    middle = np.array([fault.middle for fault in faults]) * together * unrecorded
    spread = np.array([fault.spread for fault in faults]) * together * unrecorded
    mean = middle * chance
    square = middle**2 * chance * (1 - chance) + spread**2 * chance
    joint = middle.prod(axis=1) * chance[:, 0] * (1 - chance[:, 0]) + spread.prod(axis=1) * chance[:, 0]
    return [Excess(*part) for part in zip(np.maximum(mean, 0), np.minimum(mean, 0), square, joint, strict=True)]


def share_together(faults: Sequence[Fault], in_all: Floats) -> Floats:
    """Return by what share to scale usual faults so that their sum is `in_all` (mm[Hg], a row a pressure, a column a mean).

    At most 1: none counts above its range.
    """
    total = sum((fault.middle * fault.usual for fault in faults), np.zeros_like(in_all))
    with np.errstate(divide="ignore", invalid="ignore"):
        scale: Floats = np.where(total > in_all, in_all / total, 1.0)
    return scale
