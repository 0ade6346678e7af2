"""Variability of a group's readings from one to the next."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, count_by, sum_by
from heartlevel.intake.batch import Batch


@dataclass(frozen=True, slots=True)
class Variability:
    """One value a group: standard deviation (n−1), coefficient of variation (%), average real variability."""

    sd: Floats
    cv: Floats
    arv: Floats


def variability(batch: Batch, values: Floats, chosen: Bools) -> Variability:
    """Return the variability of the chosen readings in time order (ARV: Mena et al. 2005, equal weights)."""
    rows = np.flatnonzero(chosen)
    rows = rows[np.argsort(batch.group_of[rows], kind="stable")]
    group, value = batch.group_of[rows], values[rows]
    size = batch.groups
    with np.errstate(invalid="ignore", divide="ignore"):
        count = count_by(group, size)
        mean = sum_by(group, size, value) / count
        sd = np.sqrt(sum_by(group, size, (value - mean[group]) ** 2) / (count - 1))
        following = np.diff(group) == 0
        steps = np.abs(np.diff(value))[following]
        arv = sum_by(group[1:][following], size, steps) / (count - 1)
        return Variability(sd, 100 * sd / mean, arv)
