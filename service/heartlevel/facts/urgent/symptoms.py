"""Symptoms as they were recorded: with readings, with readings that were lost, and on days, as bits of one number."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np

from heartlevel.columns import Floats, Ints, count_by, extreme_by, or_zero
from heartlevel.facts.catalogue import derived
from heartlevel.facts.reading import Readings
from heartlevel.facts.series import Subjects
from heartlevel.intake.batch import Batch
from heartlevel.intake.fields import UNREAD
from heartlevel.intake.recorded import SYMPTOM_BITS, symptom_bits
from heartlevel.vocabulary import SYMPTOMS

EVERY_SYMPTOM = sum(SYMPTOM_BITS[name] for name in SYMPTOMS)
FELL_OR_FAINTED = SYMPTOM_BITS["fainting"] | SYMPTOM_BITS["fall"]


@dataclass(frozen=True, slots=True)
class OnDays:
    """A row for each time that somebody was asked: what was complained of, and when."""

    subject_of: Ints
    day: Floats  # proleptic ordinal; NaN where it was not recorded
    bits: Floats


def on_days(batch: Batch) -> OnDays:
    """Return the symptoms recorded on days and with readings that were lost; those of readings stand with these."""
    rows = [(subject, *item) for subject, request in enumerate(batch.requests) for item in _besides_readings(request)]
    subject_of, day, bits = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    return OnDays(subject_of.astype(np.int64), day, bits)


def _besides_readings(request: object) -> Iterator[tuple[float, float]]:
    """Yield day and bits of each symptom of a request that stands with no assessed reading."""
    subject, lost = request.subject, request.lost  # type: ignore[attr-defined]
    for item in subject.get("symptoms") or ():
        name, day = (item.get("symptom"), item.get("on")) if item else (UNREAD, None)
        yield date.fromisoformat(day).toordinal() if day else np.nan, SYMPTOM_BITS[name]
    for reading in lost:
        bits = symptom_bits(reading.symptoms)
        if bits is not None:
            yield reading.day.toordinal() if reading.day else np.nan, bits


def _bits_of_readings(facts: Readings) -> Floats:
    """Return what was complained of with each reading, or on its day; NaN where nobody was asked."""
    batch = facts.source
    bits, others = facts["symptom_bits"], on_days(batch)
    if not len(others.bits):
        return bits
    bits = bits.copy()
    for subject, day, more in zip(others.subject_of.tolist(), others.day, others.bits.tolist(), strict=True):
        rows = np.arange(*batch.rows_of(subject).indices(batch.size))
        rows = rows if np.isnan(day) else rows[batch.day[rows] == day]
        bits[rows] = (np.nan_to_num(bits[rows]).astype(np.int64) | int(more)).astype(np.float64)
    return bits


def bits_of_readings(facts: Readings) -> Floats:
    """Return the symptoms of each reading as bits; computed once."""
    return facts.once(_bits_of_readings)


def counted(bits: Floats) -> Floats:
    """Return how many symptoms the bits name; NaN where nobody was asked."""
    if np.isnan(bits).all():  # most are never asked
        return bits
    named = np.bitwise_count(or_zero(bits).astype(np.int64) & EVERY_SYMPTOM)
    return np.where(np.isnan(bits), np.nan, named)


def _fell_or_fainted(facts: Readings) -> Floats:
    bits = bits_of_readings(facts)
    there = (or_zero(bits).astype(np.int64) & FELL_OR_FAINTED) != 0
    return np.where(there, 1.0, np.where(np.isnan(bits), facts["fainting"], np.fmax(facts["fainting"], 0.0)))


def _of_series(facts: Subjects) -> Floats:
    batch = facts.source.batch
    others, with_readings = on_days(batch), batch.readings["symptom_bits"]
    subjects = np.concatenate([batch.subject_of, others.subject_of])
    counts = counted(np.concatenate([with_readings, others.bits]))
    known = ~np.isnan(counts)
    size = len(batch.requests)
    asked = count_by(subjects, size, known) > 0
    most = extreme_by(subjects[known], size, counts[known], largest=True)
    return np.where(asked, most, np.nan)


_enter = partial(derived, "reading", asked=False)
_enter("symptoms_recorded", "symptoms with the reading, on its day, or on a day not recorded",
       "Symptoms recorded with the reading or on its day", lambda facts: counted(bits_of_readings(facts)),
       unit="1")  # fmt: skip
_enter("fell_or_fainted", "fainting or fall among the symptoms of the reading or its day, or fainting of the person",
       "The person fainted or fell", _fell_or_fainted, flag=True)  # fmt: skip
derived("series", "most_symptoms_at_once", "largest number of symptoms recorded with one reading or one entry",
        "Most symptoms recorded together", _of_series, unit="1", asked=False)  # fmt: skip
