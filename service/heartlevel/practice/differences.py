"""Two groups of people, of whom part may be in both: how far their means are apart, and how sure that is."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import stats

from heartlevel.columns import Floats

FEWEST_IN_BOTH = 3  # below, how the two means of a person go together is not estimated


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """The first mean less the second, with its standard error and Student's degrees of freedom; NaN where undefined."""

    mean: float
    error: float
    freedom: float

    def interval(self, share: float) -> tuple[float, float]:
        """Return both ends of the interval that holds the difference with this probability; NaN where undefined."""
        half = float(stats.t.ppf(0.5 + share / 2, self.freedom)) * self.error
        return self.mean - half, self.mean + half


def difference_of_groups(first: Floats, second: Floats) -> MeanDifference:
    """Return how far the means of two groups are apart; a value a person, NaN where the person is not in the group.

    Derrick, Russ, Toher and White, Journal of Modern Applied Statistical Methods 16 (2017) 137, the statistic for unequal
    variances, its formula from memory: Welch's test where nobody is in both groups, the paired t test where everybody is.
    """
    in_first, in_second = ~np.isnan(first), ~np.isnan(second)
    both = in_first & in_second
    shared, sizes = int(both.sum()), (int(in_first.sum()), int(in_second.sum()))
    if min(sizes) < 2:
        return MeanDifference(_mean(first) - _mean(second), float("nan"), float("nan"))
    parts = [float(np.var(values[there], ddof=1)) / size for values, there, size in
             zip((first, second), (in_first, in_second), sizes, strict=True)]  # fmt: skip
    together = 0.0
    if shared >= FEWEST_IN_BOTH:
        spreads = np.std(first[both], ddof=1) * np.std(second[both], ddof=1)
        correlation = float(np.cov(first[both], second[both])[0, 1] / spreads) if spreads else 0.0
        together = 2 * correlation * shared * sqrt(parts[0] * parts[1] / (sizes[0] * sizes[1]))
    variance = max(float(sum(parts)) - together, 0.0)
    return MeanDifference(_mean(first) - _mean(second), sqrt(variance), _freedom(parts, sizes, shared))


def difference_within(first: Floats, second: Floats) -> MeanDifference:
    """Return how far the two means of those who are in both groups are apart: Student's paired t."""
    apart = (first - second)[~np.isnan(first) & ~np.isnan(second)]
    if len(apart) < 2:
        return MeanDifference(_mean(apart), float("nan"), float("nan"))
    return MeanDifference(float(apart.mean()), float(apart.std(ddof=1)) / sqrt(len(apart)), len(apart) - 1)


def _mean(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")


def _freedom(parts: list[float], sizes: tuple[int, int], shared: int) -> float:
    """Return degrees of freedom between Welch's, for nobody in both groups, and those of pairs, for everybody."""
    below = sum(part**2 / (size - 1) for part, size in zip(parts, sizes, strict=True))
    if below == 0:
        return float(min(sizes) - 1)
    welch = sum(parts) ** 2 / below
    if shared == 0:
        return float(welch)
    alone = sum(sizes) - 2 * shared
    return float(shared - 1 + (welch - shared + 1) / (alone + 2 * shared) * alone)
