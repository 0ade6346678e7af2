"""Two devices of one person held against each other, by what both measured in one sitting, or else on one day."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Floats, Ints, mean_by
from heartlevel.statistics.averages import ROUNDING
from heartlevel.statistics.uncertainty import interval95


@dataclass(frozen=True, slots=True)
class PairedDevices:
    """First device less second (mm[Hg]; a value a pressure): mean over the pairs, and its 95 % interval by Student's t.

    A pair is a sitting, or a day, with readings of both. NaN without pairs; the interval, with fewer than 3.
    """

    pairs: int
    mean: Floats
    low: Floats
    high: Floats


def paired_devices(first: tuple[Ints, Floats], second: tuple[Ints, Floats]) -> PairedDevices:
    """Compare the readings of two devices, each as the numbers of their sittings (or days) and pressures, a row each."""
    both, pair_of = np.unique(np.concatenate([first[0], second[0]]), return_inverse=True)
    split, size = len(first[0]), len(both)
    of_first = np.stack([mean_by(pair_of[:split], size, values) for values in first[1]])
    of_second = np.stack([mean_by(pair_of[split:], size, values) for values in second[1]])
    differences = (of_first - of_second)[:, ~np.isnan(of_first[0] - of_second[0])]
    pairs = differences.shape[1]
    if not pairs:
        unknown = np.full(len(differences), np.nan)
        return PairedDevices(0, unknown, unknown, unknown)
    mean = differences.mean(axis=1)
    spread = differences.std(axis=1, ddof=1) if pairs > 1 else np.full(len(mean), np.nan)
    error = np.maximum(spread, ROUNDING) / np.sqrt(pairs)
    return PairedDevices(pairs, mean, *interval95(mean, error, np.full(len(mean), float(pairs))))
