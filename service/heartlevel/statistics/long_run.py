"""What days measured say of the mean pressures in the long run: the ground of every probability, and of no average."""

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
from heartlevel.vocabulary import SETTINGS

PRESSURES = ("systolic", "diastolic")


@dataclass(frozen=True, slots=True)
class Population:
    """The people each group's person is one of: their long-run means. NaN where nothing is said of them."""

    mean: Floats  # a row a pressure
    sd: Floats
    correlation: Floats  # of systolic with diastolic, from person to person

    def at(self, groups: Ints) -> "Population":
        """Return that of some groups."""
        return Population(self.mean[:, groups], self.sd[:, groups], self.correlation[groups])


@dataclass(frozen=True, slots=True)
class LongRun:
    """Long-run means, a row a pressure and a column a group, and how sure they are. NaN where undefined."""

    mean: Floats
    error: Floats
    correlation: Floats  # of the two errors
    days: Floats
    lent: Floats  # degrees of freedom besides the days', of a spread that others' days lend
    population: Population | None = None  # None where no request names one

    def at(self, groups: Ints) -> "LongRun":
        """Return those of some groups."""
        population = self.population and self.population.at(groups)
        return LongRun(self.mean[:, groups], self.error[:, groups], self.correlation[groups], self.days[groups],
                       self.lent[groups], population)  # fmt: skip

    def less(self, excess: Excess) -> "LongRun":
        """Return them less what the averages are expected to be too high by, and as much less sure."""
        error = np.sqrt(self.error**2 + excess.variance)
        with np.errstate(invalid="ignore"):  # a single day's error is infinite
            joint = self.correlation * self.error[0] * self.error[1] + excess.covariance
            correlation = joint / (error[0] * error[1])
        return replace(self, mean=self.mean - excess.mean, error=error, correlation=correlation)

    def knowing(self, first_day: Floats) -> "LongRun":
        """Return them less a first day's excess where a population is named: only there do others' readings count."""
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
    """Return the error of a mean of days, their variance weighed with one that others' days lend, by degrees of freedom."""
    with np.errstate(invalid="ignore", divide="ignore"):
        of_days = (days - 1) * error**2 * days + degrees * sd[:, None] ** 2
        found: Floats = np.sqrt(of_days / (days - 1 + degrees) / days)
    return found


def first_day_excess(batch: Batch, averaged: Bools, averages: Averages, excess: Floats) -> Floats:
    """Return by how much a first day, `excess` above later ones, makes each group's average too high where it counts."""
    some = count_by(batch.group_of, batch.groups, averaged & (batch.day_rank == 0)) > 0
    days = np.where(some, averages.days[averages.row("protocol")], np.inf)
    found: Floats = excess[:, None] / days
    return found


def population_at_home(named: Sequence[Mapping[str, Any] | None]) -> Population | None:
    """Return the populations that requests name, one a subject, for the home groups; None where none does."""
    if not any(named):
        return None
    groups = len(named) * len(SETTINGS)
    mean, sd, correlation = np.full((2, groups), np.nan), np.full((2, groups), np.nan), np.full(groups, np.nan)
    for subject, one in enumerate(named):
        if one:
            group = subject * len(SETTINGS) + HOME
            mean[:, group], sd[:, group] = ([one[name][of] for name in PRESSURES] for of in ("mean", "sd"))
            correlation[group] = one["correlation"]
    return Population(mean, sd, correlation)


def chance_at_or_above(of: LongRun, limits: Floats) -> Floats:
    """Return the probability that either long-run mean reaches its limit.

    Axes of `limits`: pressure, limit, then those of `of`; of the answer the same without the pressure.
    """
    mean, error, correlation = towards_population(of)
    days = np.where(of.days >= FEWEST_DAYS, of.days + of.lent, of.days)
    return probability_at_or_above(mean[:, None], error[:, None], correlation, days, limits)


def towards_population(of: LongRun) -> tuple[Floats, Floats, Floats]:
    """Return mean, error and correlation with the population known beforehand: of two normals, weighed by precision.

    As they are where none is named. K = P (P + S)⁻¹ for two pressures, written out: mean m + K (x − m), covariance K S.
    """
    people = of.population
    if people is None:
        return of.mean, of.error, of.correlation
    own, others = of.error**2, people.sd**2
    own_joint, others_joint = of.correlation * of.error[0] * of.error[1], people.correlation * people.sd[0] * people.sd[1]
    total, joint = own + others, own_joint + others_joint
    size = total[0] * total[1] - joint**2
    weight = (others * total[::-1] - others_joint * joint) / size  # of a pressure's own distance
    cross = (others_joint * total - others * joint) / size  # of the other pressure's
    away = of.mean - people.mean
    mean = people.mean + weight * away + cross * away[::-1]
    error = np.sqrt(weight * own + cross * own_joint)
    correlation = (weight[0] * own_joint + cross[0] * own[1]) / (error[0] * error[1])
    named = ~np.isnan(people.mean)
    return (np.where(named, mean, of.mean), np.where(named, error, of.error),
            np.where(named[0], correlation, of.correlation))  # fmt: skip
