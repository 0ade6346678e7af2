"""What measured days say of the mean pressures in the long run: every probability rests on it, no average does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import stdtrit

from heartlevel.columns import Bools, Floats, Ints, count_by, or_zero
from heartlevel.intake.batch import Batch
from heartlevel.profiles import UsualSpread
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.calendar import Calendar
from heartlevel.statistics.selection import AMBULATORY, HOME
from heartlevel.statistics.technique import Excess
from heartlevel.statistics.uncertainty import FEWEST_DAYS, probability_beyond
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
    degrees: Floats  # of freedom of the error; a row a pressure
    day_variance: Floats  # between days, pooled with the usual one; a row a pressure
    calendar: Calendar
    population: Population | None = None  # None where no request names one

    def at(self, groups: Ints) -> "LongRun":
        """Return the means of these groups."""
        population = self.population and self.population.at(groups)
        return LongRun(self.mean[:, groups], self.error[:, groups], self.correlation[groups], self.degrees[:, groups],
                       self.day_variance[:, groups], self.calendar.at(groups), population)  # fmt: skip

    def less(self, excess: Excess) -> "LongRun":
        """Return the means less the expected excess of the averages, and the less sure for it.

        Variances add up. The degrees of freedom grow by the share that the whole is larger: by its square, as Satterthwaite
        has it, a further error could make a mean surer than it was without.
        """
        variance = self.error**2 + excess.variance
        with np.errstate(invalid="ignore", divide="ignore"):  # a single day's error may be unknown
            joint = self.correlation * self.error[0] * self.error[1] + excess.covariance
            correlation = joint / np.sqrt(variance[0] * variance[1])
            degrees = self.degrees * variance / self.error**2
        return replace(
            self, mean=self.mean - excess.mean, error=np.sqrt(variance), correlation=correlation, degrees=degrees
        )

    def only_where(self, known: Bools) -> "LongRun":
        """Return the means, nothing being known of how sure they are elsewhere."""
        return replace(self, degrees=np.where(known, self.degrees, np.nan))

    def interval95(self) -> tuple[Floats, Floats]:
        """Return the 95 % interval of the long-run mean, Student's t; a row a pressure."""
        half = stdtrit(self.degrees, 0.975) * self.error
        return self.mean - half, self.mean + half


@dataclass(frozen=True, slots=True)
class _Error:
    """The error of means of days: a row a pressure."""

    error: Floats
    correlation: Floats
    degrees: Floats
    day_variance: Floats


def long_run(
    averages: Averages,
    calendar: Calendar,
    usual: Mapping[int, UsualSpread],
    first_day: Floats,
    population: Population | None,
) -> LongRun:
    """Return what the averages say of each group's long-run mean: by protocol, of ambulatory readings all of them.

    `usual` says, by setting, how days of other people vary; without it fewer than FEWEST_DAYS days say nothing. `first_day`
    is by how much the first day makes each average too high, mm[Hg], a row a pressure.
    """
    row = np.full(len(calendar.days), averages.row("protocol"))
    row[AMBULATORY :: len(SETTINGS)] = averages.row("all")
    groups = np.arange(len(row))
    with np.errstate(invalid="ignore"):  # no day has an infinite error
        own = averages.standard_error[: len(PRESSURES), row, groups] ** 2 * calendar.days
    mean, correlation = averages.day_mean[: len(PRESSURES), row, groups], averages.correlation[row, groups]
    degrees = np.broadcast_to(np.where(calendar.days >= FEWEST_DAYS, calendar.days - 1, np.nan), own.shape).copy()
    with np.errstate(invalid="ignore", divide="ignore"):
        whole = LongRun(mean - first_day, np.sqrt(own / calendar.days), correlation, degrees, own, calendar, population)
    for setting, spread in usual.items():
        columns = np.arange(setting, len(row), len(SETTINGS))
        if not calendar.days[columns].any():
            continue  # nothing is averaged that anything could be lent to
        lent = with_usual_spread(own[:, columns], correlation[columns], calendar.at(columns), spread)
        whole.error[:, columns], whole.degrees[:, columns] = lent.error, lent.degrees
        whole.correlation[columns], whole.day_variance[:, columns] = lent.correlation, lent.day_variance
    return whole


def with_usual_spread(own: Floats, correlation: Floats, calendar: Calendar, usual: UsualSpread) -> _Error:
    """Return the error of means of days as estimates of the long run.

    `own` is the variance between the own days, a row a pressure, `correlation` that of their pressures. With n days of v
    equally filled weeks, ν the degrees of freedom lent and σ² the variance they come with,

        s² = ((n − 1) own + ν σ²) / (a + ν),   error² = s² c / n + τ² / v,   a = n − c + n (1 − 1/v) τ² / σ²,

    the first a scaled inverse chi squared prior's posterior (Gelman et al., Bayesian Data Analysis; from memory), c what
    correlated days make of n, τ the spread between weeks, which more days of the same week do not lessen. a σ² is what the
    own days' sum of squares comes to on average: n times the variance of a day, less that of their mean. Days that follow
    one another lie nearer to their mean than to what it estimates, and those of several weeks differ by their weeks too,
    which is not taken for a spread of days. They count for n − c degrees of freedom. People's weeks differ by more and
    less as their days do: τ² has ν degrees of freedom too, and no own ones. Satterthwaite's rule (1946; from memory)
    gives those of the sum. Where only weeks are known to differ σ is 0.
    """
    days, sd, week = calendar.days, np.array(usual.sd)[:, None], np.array(usual.week_sd)[:, None]
    inflation, only_weeks = calendar.inflation(usual.day_correlation), not any(usual.sd)
    own_degrees = np.where(days > 1, days - inflation, 0)
    pooled = own_degrees + usual.degrees
    with np.errstate(invalid="ignore", divide="ignore"):
        by_weeks = np.where(days > 1, days * (1 - 1 / calendar.weeks), 0) * (0 if only_weeks else (week / sd) ** 2)
        squares = np.maximum(days - 1, 0) * or_zero(own) + usual.degrees * sd**2
        variance = squares / (pooled + by_weeks) * (not only_weeks)
        of_days, of_weeks = variance * inflation / days, week**2 / calendar.weeks
        whole = of_days + of_weeks
        degrees = whole**2 / (of_days**2 / pooled + of_weeks**2 / usual.degrees)
        alike = (own_degrees * correlation + usual.degrees * usual.correlation) / pooled
        joint = alike * np.sqrt(of_days[0] * of_days[1]) + usual.correlation * np.sqrt(of_weeks[0] * of_weeks[1])
        return _Error(np.sqrt(whole), joint / np.sqrt(whole[0] * whole[1]), np.where(days > 0, degrees, np.nan), variance)


def first_day_excess(batch: Batch, averaged: Bools, calendar: Calendar, excess: Floats) -> Floats:
    """Return by how much a first day `excess` above later ones makes each group's average too high, if it is averaged."""
    counted = count_by(batch.group_of, batch.groups, averaged & (batch.day_rank == 0)) > 0
    days = np.where(counted, calendar.days, np.inf)
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
    return probability_beyond(mean[:, None], error[:, None], correlation, means.degrees[:, None], limits)


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
