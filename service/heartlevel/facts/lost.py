"""Facts of readings that were sent and could not be assessed: how many, and how high and low what is legible of them is.

Where the numbers could be kilopascals or centimetres of mercury as well, and no unit that says so can be read, they are in
doubt: they count as what they would be in each, and not as mm[Hg]. Of a pair the higher number counts as the systolic one.
"""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, extreme_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.series import Subjects
from heartlevel.intake.schema import HIGHEST_READABLE
from heartlevel.vocabulary import KPA, MMHG, MMHG_PER_KPA

MMHG_PER_CMHG = 10.0


@dataclass(frozen=True, slots=True)
class LostColumns:
    """A row a lost reading; NaN is not legible."""

    subject_of: Ints
    systolic: Floats  # mm[Hg], or as sent where in doubt; the higher number of a pair
    diastolic: Floats  # the lower number of a pair; NaN too where both are the same
    above_diastolic: Bools  # the systolic number as sent, or there is no diastolic one
    in_doubt: Bools
    copy: Bools


def _lost(facts: Subjects) -> LostColumns:
    requests = facts.source.batch.requests
    lost = [reading for request in requests for reading in request.lost]
    subject_of = np.repeat(np.arange(len(requests)), [len(request.lost) for request in requests]).astype(np.int64)
    pairs = [(reading.systolic, reading.diastolic) for reading in lost]
    systolic, diastolic = np.array(pairs, dtype=np.float64).reshape(-1, 2).T
    in_kpa = np.array([reading.unit == KPA for reading in lost], dtype=bool)
    no_unit = np.array([reading.unit is None for reading in lost], dtype=bool)
    # A diastolic number alone tells no unit.
    in_doubt = ~in_kpa & _may_be_kpa(np.fmax(systolic, diastolic)) & (~np.isnan(systolic) | no_unit)
    factor = np.where(in_kpa, MMHG_PER_KPA, 1.0)
    above_diastolic, same = ~(systolic <= diastolic), systolic == diastolic
    # A systolic number that small has a digit missing, so that the pair is not the wrong way round.
    swapped = (systolic < diastolic) & (in_kpa | in_doubt | ~_may_be_kpa(systolic))
    systolic, diastolic = np.where(swapped, (diastolic, systolic), (systolic, np.where(same, np.nan, diastolic)))
    copy = np.array([reading.is_copy for reading in lost], dtype=bool)
    return LostColumns(subject_of, systolic * factor, diastolic * factor, above_diastolic, in_doubt, copy)


def _may_be_kpa(numbers: Floats) -> Bools:
    """Mark the numbers that could be kilopascals of a blood pressure; unknown ones could not."""
    may_be: Bools = numbers * MMHG_PER_KPA <= HIGHEST_READABLE
    return may_be


def _count(facts: Subjects, copies_too: bool) -> Floats:
    lost = facts.once(_lost)
    return count_by(lost.subject_of, len(facts.source.batch.requests), ~lost.copy | copies_too)


def _highest(facts: Subjects, pressure: str, factor: float | None) -> Floats:
    """Return the highest of a pressure by subject: what is in doubt times a factor or, without one, all else."""
    lost, size = facts.once(_lost), len(facts.source.batch.requests)
    if not len(lost.subject_of):  # as in most batches
        return np.full(size, np.nan)
    rows = ~lost.in_doubt if factor is None else lost.in_doubt
    values: Floats = getattr(lost, pressure)[rows] * (factor or 1.0)
    return extreme_by(lost.subject_of[rows], size, values, largest=True)


@fact("series", "readings in the request", unit="1", asked=False)
def readings_received(facts: Subjects) -> Floats:
    """Readings sent, whatever became of them."""
    return facts["readings_assessed"] + facts["lost_readings"]


@fact("series", "readings in the answer", unit="1", asked=False)
def readings_assessed(facts: Subjects) -> Floats:
    """Readings that could be read and were assessed, whatever their reliability."""
    batch = facts.source.batch
    return count_by(batch.subject_of, len(batch.requests))


@fact("series", "readings_received − readings_assessed", unit="1", asked=False)
def lost_readings(facts: Subjects) -> Floats:
    """Readings sent that were not assessed; exact copies among them."""
    return _count(facts, copies_too=True)


@fact("series", "lost_readings but for exact copies of others", unit="1", asked=False)
def unreadable_readings(facts: Subjects) -> Floats:
    """Readings sent that were not assessed for something in them that could not be read."""
    return _count(facts, copies_too=False)


@fact("series", "largest systolic number legible in lost readings, without those in doubt of unit", unit=MMHG, asked=False)
def lost_highest_systolic(facts: Subjects) -> Floats:
    """Highest systolic pressure legible in readings that were not assessed."""
    return _highest(facts, "systolic", None)


@fact("series", "largest diastolic number legible in lost readings, without those in doubt of unit", unit=MMHG, asked=False)
def lost_highest_diastolic(facts: Subjects) -> Floats:
    """Highest diastolic pressure legible in readings that were not assessed."""
    return _highest(facts, "diastolic", None)


@fact("series", "smallest systolic number legible in lost readings, above its diastolic, without those in doubt of unit",
      unit=MMHG, asked=False)  # fmt: skip
def lost_lowest_systolic(facts: Subjects) -> Floats:
    """Lowest systolic pressure legible in readings that were not assessed."""
    lost = facts.once(_lost)
    rows = ~lost.in_doubt & lost.above_diastolic
    return extreme_by(lost.subject_of[rows], len(facts.source.batch.requests), lost.systolic[rows], largest=False)


@fact("series", "largest systolic number of lost readings in doubt of unit × 1000 / 133.322", unit=MMHG, asked=False)
def lost_highest_systolic_if_kpa(facts: Subjects) -> Floats:
    """Highest systolic pressure of readings that were not assessed, had it been written in kilopascals."""
    return _highest(facts, "systolic", MMHG_PER_KPA)


@fact("series", "largest diastolic number of lost readings in doubt of unit × 1000 / 133.322", unit=MMHG, asked=False)
def lost_highest_diastolic_if_kpa(facts: Subjects) -> Floats:
    """Highest diastolic pressure of readings that were not assessed, had it been written in kilopascals."""
    return _highest(facts, "diastolic", MMHG_PER_KPA)


@fact("series", "largest systolic number of lost readings in doubt of unit × 10", unit=MMHG, asked=False)
def lost_highest_systolic_if_cmhg(facts: Subjects) -> Floats:
    """Highest systolic pressure of readings that were not assessed, had it been written in centimetres of mercury."""
    return _highest(facts, "systolic", MMHG_PER_CMHG)


@fact("series", "largest diastolic number of lost readings in doubt of unit × 10", unit=MMHG, asked=False)
def lost_highest_diastolic_if_cmhg(facts: Subjects) -> Floats:
    """Highest diastolic pressure of readings that were not assessed, had it been written in centimetres of mercury."""
    return _highest(facts, "diastolic", MMHG_PER_CMHG)
