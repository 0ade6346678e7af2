"""Events: a row for each reading, lost reading or symptom that an urgent rule speaks of, with what is known beside it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints, extreme_by
from heartlevel.conclusions.firings import Firing
from heartlevel.facts.urgent.symptoms import bits_of_readings, on_days
from heartlevel.intake.recorded import symptom_bits
from heartlevel.vocabulary import EPISODE_KINDS, PRESSURES

NO_ROW = -1
HIGH, LOW, SYMPTOMS, UNREADABLE, OTHER = range(len(EPISODE_KINDS))


@dataclass(frozen=True, slots=True)
class Events:
    """Columns of equal length. What is not known of an event is NaN."""

    subject: Ints
    firing: Ints  # number of the urgent firing among those of the batch
    row: Ints  # of the reading, or NO_ROW
    day: Floats  # proleptic ordinal
    pressures: Floats  # mm[Hg]; a row a pressure
    bits: Floats  # of symptoms
    kind: Ints  # its number in EPISODE_KINDS
    level: Ints  # that the rule gives, its number in URGENCY_LEVELS

    def chosen(self, rows: Bools | Ints) -> "Events":
        """Return some of the events."""
        values = (getattr(self, name)[..., rows] for name in self.__slots__)
        return Events(*values)


def in_maternity(assessment: Assessment) -> Bools:
    """Mark who is pregnant, or gave birth no longer ago than the guideline's limits for pregnancy hold."""
    subjects = assessment.batch.subjects
    days = np.array([guideline.after_birth_days for guideline in assessment.guidelines], dtype=np.float64)
    maternity: Bools = (subjects["pregnant"] == 1) | (subjects["days_since_birth"] <= days)
    return maternity


def events_of(assessment: Assessment, urgent: Sequence[Firing]) -> Events:
    """Return the events of the urgent firings of a batch, in order of subject, day and reading."""
    maternity = in_maternity(assessment)
    columns = [_columns(assessment, number, firing, maternity) for number, firing in enumerate(urgent)]
    events = _joined(columns)
    return events.chosen(np.lexsort((events.firing, events.row, events.day, events.subject)))


def _joined(parts: Iterable[Events]) -> Events:
    none = np.zeros(0, dtype=np.int64)
    empty = Events(none, none, none, np.zeros(0), np.zeros((len(PRESSURES), 0)), np.zeros(0), none, none)
    every = [empty, *parts]
    return Events(*(np.concatenate([getattr(part, name) for part in every], axis=-1) for name in Events.__slots__))


def _columns(assessment: Assessment, number: int, firing: Firing, maternity: Bools) -> Events:
    urgency = firing.rule.urgency
    assert urgency is not None
    kind, rows = EPISODE_KINDS.index(urgency.kind), firing.reading_rows(assessment.batch)
    if len(rows):
        subject, row, day, pressures, bits = _of_readings(assessment, rows)
    elif kind == SYMPTOMS:
        subject, row, day, pressures, bits = _of_symptoms(assessment, firing.subjects)
    elif kind == UNREADABLE:
        subject, row, day, pressures, bits = _of_lost(assessment, firing.subjects)
    else:
        subject, size = firing.subjects, len(firing.subjects)
        row, day, bits = np.full(size, NO_ROW), np.full(size, np.nan), np.full(size, np.nan)
        pressures = np.full((len(PRESSURES), size), np.nan)
    level = np.where(maternity[subject], urgency.in_maternity, urgency.level)
    return Events(subject, np.full_like(subject, number), row, day, pressures, bits, np.full_like(subject, kind), level)


def _of_readings(assessment: Assessment, rows: Ints) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    batch = assessment.batch
    pressures = np.stack([batch.readings[name][rows] for name in PRESSURES])
    bits = bits_of_readings(assessment.facts["reading"])[rows]
    return batch.subject_of[rows], rows, batch.day[rows].astype(np.float64), pressures, bits


def _of_symptoms(assessment: Assessment, subjects: Ints) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    """Return each entry of symptoms, with an assessed reading or without."""
    batch, others = assessment.batch, on_days(assessment.batch)
    row = np.concatenate([np.arange(batch.size), np.full(len(others.bits), NO_ROW)])
    subject = np.concatenate([batch.subject_of, others.subject_of])
    day = np.concatenate([batch.day.astype(np.float64), others.day])
    bits = np.concatenate([batch.readings["symptom_bits"], others.bits])
    there = (bits > 0) & np.isin(subject, subjects)
    return subject[there], row[there], day[there], np.full((len(PRESSURES), int(there.sum())), np.nan), bits[there]


def _of_lost(assessment: Assessment, subjects: Ints) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    """Return one event a subject: the highest legible pressures, and the last day where every lost reading has one."""
    facts, requests = assessment.facts["series"], assessment.batch.requests
    pressures = np.stack([facts[f"lost_highest_{name}"][subjects] for name in PRESSURES])
    day, bits = np.full(len(subjects), np.nan), np.full(len(subjects), np.nan)
    others = on_days(assessment.batch)
    for at, subject in enumerate(subjects.tolist()):
        lost = [reading for reading in requests[subject].lost if not reading.is_copy]
        days = [reading.day for reading in lost]
        if None not in days:
            day[at] = max(known.toordinal() for known in days if known is not None)
        symptoms = [int(symptom_bits(reading.symptoms) or 0) for reading in lost if reading.symptoms is not None]
        same_day = np.isnan(others.day) | np.isnan(day[at]) | (others.day == day[at])
        symptoms += others.bits[(others.subject_of == subject) & same_day].astype(np.int64).tolist()
        if symptoms:
            bits[at] = np.bitwise_or.reduce(symptoms)
    return subjects, np.full(len(subjects), NO_ROW), day, pressures, bits


def newest_days(assessment: Assessment) -> Floats:
    """Return the last day of each subject's assessed readings; without any, of what else is dated; NaN without that too.

    A day that stands beside what cannot be read may be as wrong, and must not make history of the others.
    """
    batch, others = assessment.batch, on_days(assessment.batch)
    size = len(batch.requests)
    newest = extreme_by(batch.subject_of, size, batch.day.astype(np.float64), largest=True)
    lost = [
        (subject, reading.day.toordinal())
        for subject, request in enumerate(batch.requests)
        for reading in request.lost
        if reading.day is not None
    ]
    of_lost = np.array(lost, dtype=np.float64).reshape(-1, 2).T
    subjects = np.concatenate([others.subject_of, of_lost[0].astype(np.int64)])
    besides = extreme_by(subjects, size, np.concatenate([others.day, of_lost[1]]), largest=True)
    return np.where(np.isnan(newest), besides, newest)
