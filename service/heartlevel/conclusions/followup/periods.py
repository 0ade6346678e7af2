"""What each period of a person comes to by itself."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Ints
from heartlevel.conclusions.category import SubjectCategories
from heartlevel.profiles import Category
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY
from heartlevel.statistics.followup.periods import Kind, Periods
from heartlevel.vocabulary import SETTINGS


@dataclass(frozen=True, slots=True)
class SideFigures:
    """The average by protocol of one way of measuring in a period."""

    setting: str
    readings: int  # that the average takes
    days: int
    systolic: float  # mm[Hg]
    diastolic: float
    category: Category | None


@dataclass(frozen=True, slots=True)
class PeriodFigures:
    """One period: its first and last day (proleptic ordinals), how many readings it has, and its averages."""

    kind: Kind
    first: int
    last: int
    readings: int
    sides: Sequence[SideFigures]


def periods_by_subject(
    assessment: Assessment, categories: SubjectCategories, earlier: SubjectCategories | None
) -> Mapping[int, Sequence[PeriodFigures]]:
    """Return the periods, the latest last, of each subject that has several."""
    periods, before = assessment.periods, assessment.earlier
    if periods is None or before is None or earlier is None:
        return {}
    figures: dict[int, list[PeriodFigures]] = {subject: [] for subject in periods.current_kinds}
    for number, subject in enumerate(periods.subject_of.tolist()):
        rows = np.arange(before.batch.size)[before.batch.rows_of(number)]
        figures[subject].append(_figures(before, earlier, number, periods.kinds[number], rows))
    for subject, kind in periods.current_kinds.items():
        rows = _current_rows(assessment, periods, subject)
        figures[subject].append(_figures(assessment, categories, subject, kind, rows))
    return figures


def _current_rows(assessment: Assessment, periods: Periods, subject: int) -> Ints:
    rows = assessment.batch.rows_of(subject)
    current: Ints = rows.start + np.flatnonzero(periods.current[rows])
    return current


def _figures(
    assessment: Assessment, categories: SubjectCategories, subject: int, kind: Kind, rows: Ints
) -> PeriodFigures:  # fmt: skip
    days = assessment.batch.day[rows]
    return PeriodFigures(
        kind, int(days.min()), int(days.max()), len(rows), list(_sides(assessment, categories, subject))
    )  # fmt: skip


def _sides(assessment: Assessment, categories: SubjectCategories, subject: int) -> Iterator[SideFigures]:
    averages, row = assessment.averages, assessment.averages.row("protocol")
    for setting in CLASSIFIED:
        group = subject * len(SETTINGS) + SETTINGS.index(setting)
        number = categories.within(setting, subject)
        category = None if number == NO_CATEGORY else assessment.guidelines[subject].categories[setting][number]
        if averages.readings[row, group]:
            yield SideFigures(
                setting=setting,
                readings=int(averages.readings[row, group]),
                days=int(averages.days[row, group]),
                systolic=float(averages.mean[0, row, group]),
                diastolic=float(averages.mean[1, row, group]),
                category=category,
            )
