"""The periods of a person, each with what was measured in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Ints
from heartlevel.statistics.followup.periods import Kind


@dataclass(frozen=True, slots=True)
class PeriodSpan:
    """One period: its first and last day (proleptic ordinals), how many readings it has, and where it was assessed."""

    kind: Kind
    first: int
    last: int
    readings: int
    earlier: int | None  # its number among the earlier periods; None for the latest


def periods_by_subject(assessment: Assessment) -> Mapping[int, Sequence[PeriodSpan]]:
    """Return the periods, the latest last, of each subject that has several."""
    periods = assessment.periods
    if periods is None:
        return {}
    spans: dict[int, list[PeriodSpan]] = {subject: [] for subject in periods.current_kinds}
    for number, subject in enumerate(periods.subject_of.tolist()):
        days = assessment.batch.day[periods.of_reading == number]
        spans[subject].append(_span(periods.kinds[number], days, number))
    for subject, kind in periods.current_kinds.items():
        rows = assessment.batch.rows_of(subject)
        spans[subject].append(_span(kind, assessment.batch.day[rows][periods.current[rows]], None))
    return spans


def _span(kind: Kind, days: Ints, earlier: int | None) -> PeriodSpan:
    return PeriodSpan(kind, int(np.min(days)), int(np.max(days)), len(days), earlier)
