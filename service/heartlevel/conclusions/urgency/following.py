"""An episode, what followed it, and how urgent that and its age leave it."""

from dataclasses import dataclass, replace

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Ints
from heartlevel.conclusions.urgency.events import HIGH, LOW
from heartlevel.conclusions.urgency.levels import HISTORY, NONE
from heartlevel.intake.batch import AMBULATORY
from heartlevel.statistics.selection import UNUSABLE

SECONDS_OF_A_DAY = 24 * 60 * 60


@dataclass(frozen=True, slots=True)
class Repeat:
    """The reading that shows what followed an episode."""

    row: int
    minutes: float
    day: float  # proleptic ordinal
    credited: bool


@dataclass(frozen=True, slots=True)
class Episode:
    """What urgent rules name of one subject, of one kind and day."""

    subject: int
    kind: int  # its number in EPISODE_KINDS
    level: int  # its number in URGENCY_LEVELS
    day: float  # proleptic ordinal; NaN where it is not known
    days_ago: float  # before `as_of`, else before the newest day sent
    rows: tuple[int, ...]  # of its assessed readings
    lost: int  # readings that were lost and may be part of it
    worst: tuple[float, float] | None  # systolic and diastolic, mm[Hg], NaN where not legible
    worst_row: int
    bits: int  # of symptoms
    maternity: bool
    is_older: bool
    followed_by: Repeat | None
    firings: tuple[int, ...]  # numbers of the urgent firings behind it


class Repeats:
    """Readings by which a danger is over; those of a subject are looked through once, and not for each of its episodes."""

    def __init__(self, assessment: Assessment) -> None:
        """Look for nothing yet."""
        self.assessment = assessment
        self._over: dict[tuple[int, int], Ints] = {}  # by subject and kind

    def after(self, episode: Episode) -> Repeat | None:
        """Return the first later reading of the setting out of danger; one that waited long enough before others."""
        batch, last, key = self.assessment.batch, episode.rows[-1], (episode.subject, episode.kind)
        if key not in self._over:
            self._over[key] = self._out_of_danger(*key)
        later = self._over[key][np.searchsorted(self._over[key], last, side="right") :]
        later = later[batch.setting[later] == batch.setting[last]]
        if not len(later):
            return None
        minutes = (batch.instant[later] - batch.instant[last]) / 60
        waited = minutes >= self.assessment.rules.ladder.repeat_after_minutes
        at = int(np.argmax(waited))  # the first one, if none waited
        return Repeat(int(later[at]), float(minutes[at]), float(batch.day[later[at]]), bool(waited[at]))

    def _out_of_danger(self, subject: int, kind: int) -> Ints:
        rows, readings = self.assessment.batch.rows_of(subject), self.assessment.batch.readings
        limits, usable = self.assessment.guidelines[subject].limits, self.assessment.reliability[rows] != UNUSABLE
        systolic, diastolic = readings["systolic"][rows], readings["diastolic"][rows]
        if kind == LOW:
            over = (systolic >= limits["low.systolic"] - TOLERANCE) & (diastolic >= limits["low.diastolic"] - TOLERANCE)
        else:
            over = (systolic < limits["severe.systolic"] - TOLERANCE) & (diastolic < limits["severe.diastolic"] - TOLERANCE)
        over_at: Ints = rows.start + np.flatnonzero(usable & over)
        return over_at


def followed(repeats: Repeats, episode: Episode, creditable: bool) -> Episode:
    """Return an episode with what followed, its level lowered where that is credited, or where it is lone."""
    if episode.kind not in (HIGH, LOW) or not episode.rows:
        return episode
    repeat, ladder = repeats.after(episode), repeats.assessment.rules.ladder
    if repeat is None:
        return episode
    if not creditable:
        return replace(episode, followed_by=replace(repeat, credited=False))
    level = max(episode.level, ladder.after_lower_repeat) if repeat.credited else episode.level
    lone = repeat.credited and _is_lone(repeats.assessment, episode)
    return replace(episode, followed_by=repeat, level=NONE if lone else level)


def _is_lone(assessment: Assessment, episode: Episode) -> bool:
    batch, ladder = assessment.batch, assessment.rules.ladder
    rows, own = batch.rows_of(episode.subject), list(episode.rows)
    if (batch.setting[own] != AMBULATORY).any() or len(own) > ladder.lone_readings:
        return False
    apart = np.abs(batch.instant[rows] - batch.instant[own[0]])  # a measurement around the clock begins on one day
    beside = (batch.setting[rows] == AMBULATORY) & (apart <= SECONDS_OF_A_DAY)
    return bool(np.count_nonzero(beside) >= ladder.lone_among)


def aged(assessment: Assessment, episode: Episode) -> Episode:
    """Return an episode with the level that its age leaves it; one whose day is not known stays as it is."""
    ladder, answered = assessment.rules.ladder, episode.followed_by is not None and episode.followed_by.credited
    least = episode.level
    if episode.days_ago > (ladder.answered_after_days if answered else ladder.history_after_days[episode.maternity]):
        least = HISTORY
    elif episode.is_older:
        least = ladder.older[episode.maternity]
    return episode if episode.level >= least else replace(episode, level=least)
