"""Facts of readings that were sent and could not be assessed: how many, and how high and low what is legible of them is.

Where the numbers could be kilopascals or centimetres of mercury as well, and no unit that says so can be read, they are in
doubt: they count as what they would be in each, and not as mm[Hg]. Of a pair the higher number counts as the systolic one.
Where a key is repeated, each number under it is looked at: the highest and the lowest may both want help.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, extreme_by
from heartlevel.facts.catalogue import derived, derived_both
from heartlevel.facts.series import Subjects
from heartlevel.vocabulary import HIGHEST_READABLE, KPA, MMHG, MMHG_PER_KPA

MMHG_PER_CMHG = 10.0


@dataclass(frozen=True, slots=True)
class LostColumns:
    """A row a pair of pressures that a lost reading may have; NaN is not legible."""

    subject_of: Ints
    systolic: Floats  # mm[Hg], or as sent where in doubt; the higher number of a pair
    diastolic: Floats  # the lower number of a pair; NaN too where both are the same
    above_diastolic: Bools  # the systolic number as sent, or there is no diastolic one
    in_doubt: Bools


def _lost(facts: Subjects) -> LostColumns:
    requests = facts.source.batch.requests
    rows = [(subject, reading.unit, *pair) for subject, request in enumerate(requests)
            for reading in request.lost for pair in reading.pairs]  # fmt: skip
    return _columns_of(rows) if rows else NO_READING


def _columns_of(rows: Sequence[tuple[int, str | None, float | None, float | None]]) -> LostColumns:
    subject_of = np.array([row[0] for row in rows], dtype=np.int64)
    systolic, diastolic = np.array([row[2:] for row in rows], dtype=np.float64).T
    in_kpa = np.array([row[1] == KPA for row in rows], dtype=bool)
    no_unit = np.array([row[1] is None for row in rows], dtype=bool)
    # A diastolic number alone tells no unit.
    in_doubt = ~in_kpa & _may_be_kpa(np.fmax(systolic, diastolic)) & (~np.isnan(systolic) | no_unit)
    factor = np.where(in_kpa, MMHG_PER_KPA, 1.0)
    above_diastolic, same = ~(systolic <= diastolic), systolic == diastolic
    # A systolic number that small has a digit missing, so that the pair is not the wrong way round.
    swapped = (systolic < diastolic) & (in_kpa | in_doubt | ~_may_be_kpa(systolic))
    systolic, diastolic = np.where(swapped, (diastolic, systolic), (systolic, np.where(same, np.nan, diastolic)))
    return LostColumns(subject_of, systolic * factor, diastolic * factor, above_diastolic, in_doubt)


# Most requests lose none.
NO_READING = LostColumns(np.zeros(0, dtype=np.int64), *np.zeros((2, 0)), *np.zeros((2, 0), dtype=np.bool_))


def _may_be_kpa(numbers: Floats) -> Bools:
    """Mark the numbers that could be kilopascals of a blood pressure; unknown ones could not."""
    may_be: Bools = numbers * MMHG_PER_KPA <= HIGHEST_READABLE
    return may_be


def _count(facts: Subjects, copies_too: bool) -> Floats:
    lost = (request.lost for request in facts.source.batch.requests)
    numbers = [sum(copies_too or not reading.is_copy for reading in readings) if readings else 0 for readings in lost]
    return np.array(numbers, dtype=np.float64)


def _highest(facts: Subjects, pressure: str, factor: float | None) -> Floats:
    """Return the highest of a pressure by subject: what is in doubt times a factor or, without one, all else."""
    lost = facts.once(_lost)
    rows = ~lost.in_doubt if factor is None else lost.in_doubt
    values: Floats = getattr(lost, pressure)[rows] * (factor or 1.0)
    return extreme_by(lost.subject_of[rows], len(facts.source.batch.requests), values, largest=True)


def _lowest_systolic(facts: Subjects) -> Floats:
    lost = facts.once(_lost)
    rows = ~lost.in_doubt & lost.above_diastolic
    return extreme_by(lost.subject_of[rows], len(facts.source.batch.requests), lost.systolic[rows], largest=False)


_count_of = partial(derived, "series", unit="1", asked=False)
_pressure_of, _pressures_of = (partial(enter, "series", unit=MMHG, asked=False) for enter in (derived, derived_both))

_count_of("readings_received", "readings in the request", "Readings sent, whatever became of them",
          lambda facts: facts["readings_assessed"] + facts["lost_readings"])  # fmt: skip
_count_of("readings_assessed", "readings in the answer",
          "Readings that could be read and were assessed, whatever their reliability",
          lambda facts: count_by(facts.source.batch.subject_of, len(facts.source.batch.requests)))  # fmt: skip
_count_of("lost_readings", "readings_received − readings_assessed",
          "Readings sent that were not assessed; exact copies among them", _count, True)  # fmt: skip
_count_of("unreadable_readings", "lost_readings but for exact copies of others",
          "Readings sent that were not assessed for something in them that could not be read", _count, False)  # fmt: skip
_pressures_of("lost_highest_{}", "largest {} number legible in lost readings, without those in doubt of unit",
              "highest {} pressure legible in readings that were not assessed", _highest, None)  # fmt: skip
_pressure_of("lost_lowest_systolic",
             "smallest systolic number legible in lost readings, above its diastolic, without those in doubt of unit",
             "Lowest systolic pressure legible in readings that were not assessed", _lowest_systolic)  # fmt: skip
_pressures_of("lost_highest_{}_if_kpa", "largest {} number of lost readings in doubt of unit × 1000 / 133.322",
              "highest {} pressure of readings that were not assessed, had it been written in kilopascals",
              _highest, MMHG_PER_KPA)  # fmt: skip
_pressures_of("lost_highest_{}_if_cmhg", "largest {} number of lost readings in doubt of unit × 10",
              "highest {} pressure of readings that were not assessed, had it been written in centimetres of mercury",
              _highest, MMHG_PER_CMHG)  # fmt: skip
