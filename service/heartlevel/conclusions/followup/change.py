"""How the latest period differs from the one before, and what else may explain it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Ints
from heartlevel.conclusions.followup.periods import PeriodSpan
from heartlevel.facts.sides import SETTING_NUMBER
from heartlevel.profiles import FollowUp
from heartlevel.statistics.followup.change import (
    LOWER,
    POSSIBLE,
    Averaged,
    AveragesChanged,
    changed_averages,
    days_of_year_apart,
)
from heartlevel.statistics.selection import HOME, KEPT
from heartlevel.statistics.uncertainty import FEWEST_DAYS
from heartlevel.vocabulary import MEASURED_SIDES, PRESSURES, SETTINGS

COMPARED_SIDES = ("home", "office-attended", "office-unattended", "ambulatory-day")
WITH_DAYS = COMPARED_SIDES[:-1]  # averaged by protocol, day by day
# By what name the rule set says how each usually varies.
USUAL_OF = dict(zip(COMPARED_SIDES, ("home", "office", "office", "ambulatory-day"), strict=True))
# What may explain a difference, or take from it, in the order in which it is told.
CAUTIONS = ("treatment-changed", "earlier-raised", "first-days", "few-days", "opposite-seasons", "different-arms",
            "different-devices", "different-positions", "not-relied-on")  # fmt: skip
UNLIKE = {"different-arms": "side", "different-devices": "device_number", "different-positions": "body_position"}


@dataclass(frozen=True, slots=True)
class SideChanged:
    """How one side's average changed, mm[Hg]; lists are systolic, diastolic."""

    side: str
    before: Sequence[float]
    after: Sequence[float]
    difference: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    state: int  # its number in STATES
    cautions: Sequence[str]  # of CAUTIONS


@dataclass(frozen=True, slots=True)
class _Compared:
    """The subjects that have several periods: their rows in the assessments of the latest and of the earlier periods."""

    now: Assessment
    before: Assessment
    subjects: Ints
    earlier: Ints
    follow_up: FollowUp


def changes_by_subject(
    assessment: Assessment, periods: Mapping[int, Sequence[PeriodSpan]]
) -> Mapping[int, Sequence[SideChanged]]:
    """Return, of each subject with several periods, the change of each side that both of the latest two have."""
    follow_up, before = assessment.rules.follow_up, assessment.earlier
    if not periods or assessment.periods is None or before is None or follow_up is None:
        return {}
    last = {subject: number for number, subject in enumerate(assessment.periods.subject_of.tolist())}
    subjects = np.array(list(periods), dtype=np.int64)
    compared = _Compared(assessment, before, subjects, np.array([last[subject] for subject in periods]), follow_up)
    by_subject: dict[int, list[SideChanged]] = {subject: [] for subject in periods}
    for side in COMPARED_SIDES:
        for subject, changed in _side(compared, side, periods):
            by_subject[subject].append(changed)
    return by_subject


def _side(compared: _Compared, side: str, periods: Mapping[int, Sequence[PeriodSpan]]) -> Iterator[tuple[int, SideChanged]]:
    before = _averaged(compared.before, side, compared.earlier)
    after = _averaged(compared.now, side, compared.subjects)
    seasons = np.array([_opposite(periods[subject], compared.follow_up) for subject in compared.subjects.tolist()])
    season = np.where(seasons, np.array(compared.follow_up.season)[:, None], 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        change = changed_averages(before, after, compared.follow_up.changes[USUAL_OF[side]], season)
    for column in np.flatnonzero(~np.isnan(change.difference).any(axis=0)).tolist():
        subject, earlier = int(compared.subjects[column]), int(compared.earlier[column])
        applying = {
            "treatment-changed": periods[subject][-1].kind.begins == "treatment-changed",
            "opposite-seasons": bool(seasons[column]),
            "earlier-raised": _raised(compared.before, side, earlier)
            and change.state[column] in (LOWER, POSSIBLE) and bool((change.difference[:, column] < 0).any()),
            "first-days": side == "home" and len(periods[subject]) == 2 and _first_day_counts(compared.before, earlier),
            "few-days": side == "home" and min(before.days[column], after.days[column]) < FEWEST_DAYS,
            "not-relied-on": not (_fit(compared.before, side, earlier) and _fit(compared.now, side, subject)),
            **_unlike(compared, side, earlier, subject),
        }  # fmt: skip
        yield subject, _told(side, before, after, change, column, [name for name in CAUTIONS if applying.get(name)])


def _told(
    side: str, before: Averaged, after: Averaged, change: AveragesChanged, column: int, cautions: Sequence[str]
) -> SideChanged:  # fmt: skip
    return SideChanged(
        side=side,
        before=before.mean[:, column].tolist(),
        after=after.mean[:, column].tolist(),
        difference=change.difference[:, column].tolist(),
        low=change.low[:, column].tolist(),
        high=change.high[:, column].tolist(),
        state=int(change.state[column]),
        cautions=cautions,
    )


def _averaged(assessment: Assessment, side: str, subjects: Ints) -> Averaged:
    """Return the averages of one side; NaN where there is none."""
    number, pressures = MEASURED_SIDES.index(side), slice(len(PRESSURES))
    measured = assessment.sides.measured
    mean, unknown = measured.mean[:, number, subjects], np.full((len(PRESSURES), len(subjects)), np.nan)
    if side not in WITH_DAYS:
        return Averaged(mean, np.ones(len(subjects)), unknown)
    averages, row = assessment.averages, assessment.averages.row("protocol")
    groups = subjects * len(SETTINGS) + SETTING_NUMBER[number]
    return Averaged(mean, averages.days[row, groups], averages.standard_error[pressures, row, groups])


def _opposite(periods: Sequence[PeriodSpan], follow_up: FollowUp) -> bool:
    first, second = (np.array(float(period.first + period.last) / 2) for period in periods[-2:])
    return bool(days_of_year_apart(first, second) >= follow_up.opposite_seasons_days)


def _raised(assessment: Assessment, side: str, subject: int) -> bool:
    return bool(assessment.sides.measured.raised[MEASURED_SIDES.index(side), subject] == 1)


def _fit(assessment: Assessment, side: str, subject: int) -> bool:
    return bool(assessment.fitness.fit[MEASURED_SIDES.index(side), subject])


def _kept(assessment: Assessment, setting: int, subject: int) -> Bools:
    """Mark, among a subject's rows, those that the average of a setting takes."""
    rows = assessment.batch.rows_of(subject)
    kept: Bools = (assessment.selection.left_out[rows] == KEPT) & (assessment.batch.setting[rows] == setting)
    return kept


def _first_day_counts(assessment: Assessment, subject: int) -> bool:
    rows = assessment.batch.rows_of(subject)
    return bool((_kept(assessment, HOME, subject) & (assessment.batch.day_rank[rows] == 0)).any())


def _unlike(compared: _Compared, side: str, earlier: int, subject: int) -> dict[str, bool]:
    """Return in what the two periods' readings differ, as far as it was recorded in both."""
    if side not in WITH_DAYS:
        return {}
    recorded = []
    for assessment, number in ((compared.before, earlier), (compared.now, subject)):
        kept, rows = _kept(assessment, SETTING_NUMBER[MEASURED_SIDES.index(side)], number), assessment.batch.rows_of(number)
        columns = {caution: assessment.facts["reading"][name][rows][kept] for caution, name in UNLIKE.items()}
        recorded.append({caution: set(column[~np.isnan(column)].tolist()) for caution, column in columns.items()})
    first, second = recorded
    return {caution: bool(first[caution] and second[caution] and first[caution] != second[caution]) for caution in UNLIKE}
