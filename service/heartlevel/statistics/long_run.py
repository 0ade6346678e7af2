"""What measured days say of the mean pressures in the long run: every probability rests on it, no average does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import UsualInOffice
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.statistics.technique import Excess
from heartlevel.statistics.uncertainty import FEWEST_DAYS, probability_at_or_above
from heartlevel.vocabulary import PRESSURES, SETTINGS


@dataclass(frozen=True, slots=True)
class Population:
    """Long-run means among the people each group's subject is one of. NaN where none are named."""

    mean: Floats  # a row a pressure
    sd: Floats
    correlation: Floats  # of systolic with diastolic, from person to person

    def at(self, groups: Ints) -> "Population":
        """Return the populations of these groups."""
        return Population(self.mean[:, groups], self.sd[:, groups], self.correlation[groups])


@dataclass(frozen=True, slots=True)
class LongRun:
    """Long-run means (mm[Hg]; a row a pressure, a column a group) and how sure they are. NaN where undefined."""

    mean: Floats
    error: Floats
    correlation: Floats  # of the two errors
    days: Floats
    lent: Floats  # degrees of freedom of a spread known from other people's days, beside those of the own days
    population: Population | None = None  # None where no request names one

    def at(self, groups: Ints) -> "LongRun":
        """Return the means of these groups."""
        population = self.population and self.population.at(groups)
        return LongRun(self.mean[:, groups], self.error[:, groups], self.correlation[groups], self.days[groups],
                       self.lent[groups], population)  # fmt: skip

    def less(self, excess: Excess) -> "LongRun":
        """Return the means less the expected excess of the averages, and the less sure for it."""
        error = np.sqrt(self.error**2 + excess.variance)
        with np.errstate(invalid="ignore"):  # a single day's error is infinite
            joint = self.correlation * self.error[0] * self.error[1] + excess.covariance
            correlation = joint / (error[0] * error[1])
        return replace(self, mean=self.mean - excess.mean, error=error, correlation=correlation)

    def knowing(self, first_day: Floats) -> "LongRun":
        """Return the means less a first day's excess where a population is named: only there do others' readings count."""
        if self.population is None:
            return self
        return replace(self, mean=self.mean - np.where(np.isnan(self.population.mean), 0, first_day))


def long_run(averages: Averages, population: Population | None, in_office: UsualInOffice | None) -> LongRun:
    """Return what the averages by protocol say of each group's long-run mean; in the office with the usual spread."""
    row = averages.row("protocol")
    days, error = averages.days[row], averages.standard_error[:2, row]
    lent = np.zeros(len(days))
    if in_office:
        office = slice(OFFICE, None, len(SETTINGS))
        lent[office] = in_office.degrees
        error = error.copy()
        error[:, office] = with_lent_spread(error[:, office], days[office], np.array(in_office.sd), in_office.degrees)
    return LongRun(averages.day_mean[:2, row], error, averages.correlation[row], days, lent, population)


def with_lent_spread(error: Floats, days: Floats, sd: Floats, degrees: float) -> Floats:
    """Return the error of a mean of days, their variance pooled with that of other people's days by degrees of freedom."""
    with np.errstate(invalid="ignore", divide="ignore"):
        squares = (days - 1) * error**2 * days + degrees * sd[:, None] ** 2
        weighed: Floats = np.sqrt(squares / (days - 1 + degrees) / days)
    return weighed


def first_day_excess(batch: Batch, averaged: Bools, averages: Averages, excess: Floats) -> Floats:
    """Return by how much a first day `excess` above later ones makes each group's average too high, if it is averaged."""
    counted = count_by(batch.group_of, batch.groups, averaged & (batch.day_rank == 0)) > 0
    days = np.where(counted, averages.days[averages.row("protocol")], np.inf)
    share: Floats = excess[:, None] / days
    return share


def population_at_home(named: Sequence[Mapping[str, Any] | None]) -> Population | None:
    """Return the populations that requests name, one a subject, for the home groups; None where none does."""
    if not any(named):
        return None
    groups = len(named) * len(SETTINGS)
    mean, sd, correlation = np.full((2, groups), np.nan), np.full((2, groups), np.nan), np.full(groups, np.nan)
    for subject, people in enumerate(named):
        if people:
            group = subject * len(SETTINGS) + HOME
            mean[:, group], sd[:, group] = ([people[name][figure] for name in PRESSURES] for figure in ("mean", "sd"))
            correlation[group] = people["correlation"]
    return Population(mean, sd, correlation)


def chance_at_or_above(means: LongRun, limits: Floats) -> Floats:
    """Return the probability that either long-run mean reaches its limit.

    Axes of `limits` (mm[Hg]): pressure, limit, then those of `means`; the answer has the same, but no pressure.
    """
    mean, error, correlation = towards_population(means)
    days = np.where(means.days >= FEWEST_DAYS, means.days + means.lent, means.days)
    return probability_at_or_above(mean[:, None], error[:, None], correlation, days, limits)


def towards_population(means: LongRun) -> tuple[Floats, Floats, Floats]:
    """Return mean, error and correlation given the population: two normal distributions, weighed by precision.

    Unchanged where no population is named. K = P (P + S)⁻¹, written out for two pressures: mean m + K (x − m),
    covariance K S.
    """
    people = means.population
    if people is None:
        return means.mean, means.error, means.correlation
    own, others = means.error**2, people.sd**2
    own_joint, others_joint = (
        means.correlation * means.error[0] * means.error[1],
        people.correlation * people.sd[0] * people.sd[1],
    )
    total, joint = own + others, own_joint + others_joint
    size = total[0] * total[1] - joint**2
    weight = (others * total[::-1] - others_joint * joint) / size  # of a pressure's own distance
    cross = (others_joint * total - others * joint) / size  # of the other pressure's
    away = means.mean - people.mean
    mean = people.mean + weight * away + cross * away[::-1]
    error = np.sqrt(weight * own + cross * own_joint)
    correlation = (weight[0] * own_joint + cross[0] * own[1]) / (error[0] * error[1])
    named = ~np.isnan(people.mean)
    return (np.where(named, mean, means.mean), np.where(named, error, means.error),
            np.where(named[0], correlation, means.correlation))  # fmt: skip
