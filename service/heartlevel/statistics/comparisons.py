"""Comparisons of devices with references as columns: pairs, the occasions they belong to, and the checks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, sum_by
from heartlevel.vocabulary import CHECKED_BY, PRESSURES

CONSTANT = "constant"
DEVICE, REFERENCE = SIDES = CHECKED_BY
ONE_SEQUENCE = "sequence"  # the occasion of all its pairs: one person at one time, and some share a reading


@dataclass(frozen=True)
class Comparisons:
    """A row a pair. An *occasion* is one person at one time; a pair that names none is an occasion of its own.

    The first axis of every column of pressures is systolic, diastolic. Occasions, not pairs, are independent.
    """

    size: int  # checks
    check_of: Ints  # of each pair
    occasion_of: Ints  # of each pair
    check_of_occasion: Ints
    device: Floats
    reference: Floats
    constant: Bools  # a row a check: the true pressure stayed the same within an occasion

    @cached_property
    def differences(self) -> Floats:
        """Device − reference, a row a pair."""
        return self.device - self.reference

    @cached_property
    def pairs(self) -> Floats:
        """Pairs of each check."""
        return count_by(self.check_of, self.size)

    @cached_property
    def occasions(self) -> Floats:
        """Occasions of each check."""
        return count_by(self.check_of_occasion, self.size)

    @cached_property
    def replicates(self) -> Floats:
        """Pairs of each occasion."""
        return count_by(self.occasion_of, len(self.check_of_occasion))

    def mean_by_occasion(self, values: Floats) -> Floats:
        """Return the mean over each occasion's pairs."""
        return _sums(self.occasion_of, len(self.check_of_occasion), values) / self.replicates

    def sum_pairs(self, values: Floats) -> Floats:
        """Add up the values of each check's pairs."""
        return _sums(self.check_of, self.size, values)

    def sum_occasions(self, values: Floats) -> Floats:
        """Add up the values of each check's occasions."""
        return _sums(self.check_of_occasion, self.size, values)

    def within(self, values: Floats) -> Floats:
        """Return each check's variance within occasions, pooled; NaN where no occasion has two pairs."""
        away = (values - self.mean_by_occasion(values)[:, self.occasion_of]) ** 2
        degrees = self.pairs - self.occasions
        return self.sum_pairs(away) / np.where(degrees > 0, degrees, np.nan)


def comparisons_of(checks: Sequence[Mapping[str, Any]]) -> Comparisons:
    """Put the checks' pairs into columns, sorted by content, so that no sum depends on the order they were sent in."""
    rows = [(number, pair) for number, check in enumerate(checks) for pair in sorted(_pairs_of(check), key=_by_content)]
    numbers: dict[tuple[int, object], int] = {}
    occasion_of, check_of_occasion = [], []
    for row, (check, pair) in enumerate(rows):
        name = pair.get("occasion")
        key = (check, row if name is None else name)
        if key not in numbers:
            numbers[key] = len(numbers)
            check_of_occasion.append(check)
        occasion_of.append(numbers[key])
    device, reference = (
        np.array([[pair[side][name] for _, pair in rows] for name in PRESSURES], dtype=np.float64).reshape(2, -1)
        for side in SIDES
    )
    return Comparisons(
        size=len(checks),
        check_of=np.array([check for check, _ in rows], dtype=np.int64),
        occasion_of=np.array(occasion_of, dtype=np.int64),
        check_of_occasion=np.array(check_of_occasion, dtype=np.int64),
        device=device,
        reference=reference,
        constant=np.array([check.get("true_pressure") == CONSTANT for check in checks], dtype=np.bool_),
    )


def _pairs_of(check: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    """Return the pairs sent, or those of a sequence: each reference with the mean of the device's readings next to it."""
    sequence = check.get("sequence")
    if sequence is None:
        sent: Sequence[Mapping[str, Any]] = check["pairs"]
        return sent
    pairs = []
    for step, reading in enumerate(sequence):
        around = [other for other in sequence[max(step - 1, 0) : step + 2] if other["by"] == DEVICE]
        if reading["by"] == REFERENCE and around:
            mean = {name: sum(other[name] for other in around) / len(around) for name in PRESSURES}
            pairs.append({DEVICE: mean, REFERENCE: reading, "occasion": ONE_SEQUENCE})
    return pairs


def _by_content(pair: Mapping[str, Any]) -> tuple[Any, ...]:
    return (pair.get("occasion") or "", *(pair[side][name] for side in SIDES for name in PRESSURES))


def _sums(groups: Ints, size: int, values: Floats) -> Floats:
    return np.stack([sum_by(groups, size, row) for row in values])
