"""How much was measured and recorded: days and hours at home, details that were wanting, how sure each average is."""

from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints, extreme_by
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.selection import HOME
from heartlevel.statistics.uncertainty import quantile_of_days
from heartlevel.statistics.variability import Paired, Variability, paired_by_day, variability
from heartlevel.vocabulary import PRESSURES, SETTINGS

HOURS = 24
SHARE_DECIMALS = 3


@dataclass(frozen=True, slots=True)
class Varying:
    """How usable readings vary, by pressure; one value a group."""

    by_reading: dict[str, Variability]
    morning_minus_evening: dict[str, Paired]


def by_setting(assessment: Assessment) -> list[list[int]]:
    """Count the assessed readings of each subject by setting."""
    batch = assessment.batch
    counts: list[list[int]] = np.bincount(batch.group_of, minlength=batch.groups).reshape(-1, len(SETTINGS)).tolist()
    return counts


def home_by_hour(assessment: Assessment) -> Ints:
    """Count the usable home readings of each subject (a row) by local hour."""
    batch, home = assessment.batch, assessment.facts["series"].source.rows(HOME)
    cells = batch.subject_of[home] * HOURS + batch.wall_clock[home].astype(np.int64)
    size = len(batch.requests)
    return np.bincount(cells, minlength=size * HOURS).reshape(size, HOURS)


def days_spanned(assessment: Assessment) -> tuple[Floats, Floats]:
    """Return the first and last local day (proleptic ordinals) that the protocol averages of each group; NaN of nothing."""
    batch, kept = assessment.batch, assessment.selection.averages["protocol"]
    days, groups = batch.day[kept].astype(np.float64), batch.group_of[kept]
    first, last = (extreme_by(groups, batch.groups, days, largest=largest) for largest in (False, True))
    return first, last


def undocumented(assessment: Assessment) -> list[list[tuple[str, float]]]:
    """Return, for each subject, the facts whose absence kept a rule undecided, with the share of readings concerned.

    The largest share comes first; it is rounded as it is told. Only what could have been recorded is there.
    """
    batch, undecided = assessment.batch, assessment.verdicts["reading"].undecided
    names = sorted(name for name in undecided if assessment.rules.facts[name].asked)
    by_subject: list[list[tuple[str, float]]] = [[] for _ in batch.requests]
    marked = np.array([undecided[name] for name in names], dtype=np.bool_).reshape(len(names), batch.size)
    readings = np.bincount(batch.subject_of, minlength=len(by_subject))
    (measured,) = readings.nonzero()
    starts = (readings.cumsum() - readings)[measured]
    counted = np.add.reduceat(marked, starts, axis=1, dtype=np.int64)
    fact, column = counted.nonzero()
    subject = measured[column]
    share = np.array(all_rounded(counted[fact, column] / readings[subject], SHARE_DECIMALS), dtype=np.float64)
    order = np.lexsort((fact, -share, subject))
    for owner, number, told in zip(*(column[order].tolist() for column in (subject, fact, share)), strict=True):
        by_subject[owner].append((names[number], told))
    return by_subject


def intervals_of(averages: Averages) -> tuple[Floats, Floats]:
    """Return both ends of the 95 % intervals of all means of day means (axes: quantity, selection, group).

    NaN for too few days.
    """
    error = quantile_of_days(averages.day_count, 0.975) * averages.standard_error
    return averages.day_mean - error, averages.day_mean + error


def varying(assessment: Assessment) -> Varying:
    """Return how the usable readings of each group vary."""
    batch, chosen = assessment.batch, assessment.selection.averages
    usable, readings = assessment.selection.averages["all"], assessment.batch.readings
    return Varying(
        {name: variability(batch, readings[name], usable) for name in PRESSURES},
        {name: paired_by_day(batch, readings[name], chosen["morning"], chosen["evening"]) for name in PRESSURES},
    )


def standard_applies(assessment: Assessment) -> Bools:
    """Mark the device checks whose pairs were taken of several people, as far as they were named."""
    agreement = assessment.checks.agreement
    applies: Bools = (agreement.occasions > 1) & (agreement.occasions < agreement.pairs)
    return applies
