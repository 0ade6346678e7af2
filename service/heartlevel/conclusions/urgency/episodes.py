"""Episodes: the events of one kind and day, what followed, how long ago they were, and how urgent that leaves them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isnan

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Bools, Floats, Ints, run_starts
from heartlevel.conclusions.firings import Firing
from heartlevel.conclusions.urgency.events import (
    HIGH,
    LOW,
    NO_ROW,
    SYMPTOMS,
    UNREADABLE,
    Events,
    events_of,
    in_maternity,
    newest_days,
)
from heartlevel.conclusions.urgency.following import Episode, Repeats, aged, followed
from heartlevel.conclusions.urgency.levels import HISTORY, NONE, SAME_DAY, event_levels, symptom_levels
from heartlevel.vocabulary import PRESSURES, URGENCY_LEVELS

LEAST_URGENT = HISTORY - 1  # levels up to this one are urgent


@dataclass(frozen=True)
class Urgency:
    """How urgent it is for each subject of a batch."""

    assessment: Assessment
    firings: Sequence[Firing]  # the urgent ones

    @cached_property
    def episodes(self) -> list[list[Episode]]:
        """Each subject's episodes, the most urgent first, then the latest."""
        by_subject: list[list[Episode]] = [[] for _ in self.assessment.batch.requests]
        if self.firings:
            for episode in _episodes(self.assessment, events_of(self.assessment, self.firings)):
                by_subject[episode.subject].append(episode)
        return [list(_without_repetition(sorted(episodes, key=_order))) for episodes in by_subject]

    @cached_property
    def maternity(self) -> list[bool]:
        """Say of each subject whether steps are those for pregnancy and the time after birth."""
        marked: list[bool] = in_maternity(self.assessment).tolist()
        return marked

    @cached_property
    def levels(self) -> Ints:
        """Each subject's level as its number in URGENCY_LEVELS."""
        return np.array([min((episode.level for episode in own), default=NONE) for own in self.episodes], dtype=np.int64)

    def levels_of_rules(self, subjects: Ints, rules: Ints) -> Ints:
        """Return the level of each rule, by its number, for a subject; of one that is not urgent len(URGENCY_LEVELS)."""
        number = {firing.number: at for at, firing in enumerate(self.firings)}
        return np.array(
            [self._level_of(subject, number[rule]) if rule in number else len(URGENCY_LEVELS)
             for subject, rule in zip(subjects.tolist(), rules.tolist(), strict=True)], dtype=np.int64,
        )  # fmt: skip

    def _level_of(self, subject: int, firing: int) -> int:
        return min((episode.level for episode in self.episodes[subject] if firing in episode.firings), default=NONE)

    @property
    def urgent(self) -> Bools:
        """Mark for whom something is urgent."""
        return is_urgent_at(self.levels)


def _order(episode: Episode) -> tuple[float, float, int]:
    return episode.level, -inf if isnan(episode.day) else -episode.day, episode.kind


def _without_repetition(episodes: Sequence[Episode]) -> Iterator[Episode]:
    """Yield the episodes; symptoms of a day that another, as urgent one tells of already are part of it."""
    days = {episode.day for episode in episodes if episode.kind != SYMPTOMS}
    symptoms = {episode.day: episode for episode in episodes if episode.kind == SYMPTOMS and episode.day in days}
    for episode in episodes:
        same = symptoms.get(episode.day)
        if same is None:
            yield episode
        elif episode.kind != SYMPTOMS and episode.level <= same.level:
            yield replace(episode, firings=(*episode.firings, *same.firings), bits=episode.bits | same.bits)
        elif episode.kind != SYMPTOMS or not _told_elsewhere(episode, episodes):
            yield episode


def _told_elsewhere(symptoms: Episode, episodes: Sequence[Episode]) -> bool:
    others = (episode for episode in episodes if episode.kind != SYMPTOMS and episode.day == symptoms.day)
    return any(episode.level <= symptoms.level for episode in others)


def is_urgent_at(levels: Ints) -> Bools:
    """Mark the levels, by their numbers in URGENCY_LEVELS, that are urgent."""
    urgent: Bools = levels <= LEAST_URGENT
    return urgent


def urgency_of(assessment: Assessment, firings: Sequence[Firing]) -> Urgency:
    """Return how urgent it is for the subjects of a batch; what costs time is computed only where an urgent rule fires."""
    return Urgency(assessment, [firing for firing in firings if firing.rule.urgent])


def _episodes(assessment: Assessment, events: Events) -> Iterator[Episode]:
    """Yield the episodes. Symptoms that ask for nothing by themselves make none."""
    levels, maternity = event_levels(assessment, events), in_maternity(assessment)
    by_symptoms = symptom_levels(assessment.rules.ladder, events, maternity[events.subject])
    order = np.lexsort((events.row, events.day, events.kind, events.subject))
    events, levels, by_symptoms = events.chosen(order), levels[order], by_symptoms[order]
    days_ago, days = _days_ago(assessment, events), np.nan_to_num(events.day, nan=-1)
    starts, repeats = np.flatnonzero(run_starts(events.subject, events.kind, days)), Repeats(assessment)
    for start, end in zip(starts.tolist(), [*starts[1:].tolist(), len(order)], strict=True):
        rows = slice(start, end)
        outset = int(levels[rows].min()), float(days_ago[start]), bool(maternity[events.subject[start]])
        episode = _episode(assessment, events, rows, outset)
        if episode.kind == SYMPTOMS and episode.level == NONE:
            continue
        creditable = not episode.maternity and bool(by_symptoms[rows].min() > SAME_DAY)
        yield aged(assessment, followed(repeats, episode, creditable))


def _days_ago(assessment: Assessment, events: Events) -> Floats:
    """Return how long before the assessment each event was: without `as_of` before the newest day sent."""
    reference = np.where(np.isnan(as_of := assessment.batch.subjects["as_of"]), newest_days(assessment), as_of)
    days: Floats = np.maximum(reference[events.subject] - events.day, 0)
    return days


def _episode(assessment: Assessment, events: Events, rows: slice, outset: tuple[int, float, bool]) -> Episode:
    """Return the episode of some events; `outset` is its level as yet, how many days ago it was, and maternity."""
    level, days_ago, maternity = outset
    kind, readings = int(events.kind[rows.start]), events.row[rows]
    firings, severe = events.firing[rows], _reaching(assessment, events, rows)
    if severe.any():  # what is merely raised has no part beside it
        readings, firings = readings[severe], firings[severe]
    worst = rows.start + _worst(assessment, events, rows)
    pressures, bits = events.pressures[:, worst], events.bits[rows]
    return Episode(
        subject=int(events.subject[worst]),
        kind=kind,
        level=level,
        day=float(events.day[worst]),
        days_ago=days_ago,
        rows=tuple(sorted({*readings.tolist()} - {NO_ROW})),
        lost=_lost(assessment, events, rows),
        worst=None if np.isnan(pressures).all() else (float(pressures[0]), float(pressures[1])),
        worst_row=int(events.row[worst]),
        bits=int(np.bitwise_or.reduce(bits[~np.isnan(bits)].astype(np.int64))),
        maternity=maternity,
        is_older=days_ago > assessment.rules.ladder.older_after_days,
        followed_by=None,
        firings=tuple(sorted({*firings.tolist()})),
    )


def _reaching(assessment: Assessment, events: Events, rows: slice) -> Bools:
    """Mark the severe ones among some events of one kind and subject."""
    limits, pressures = assessment.guidelines[int(events.subject[rows.start])].limits, events.pressures[:, rows]
    severe = np.logical_or(*(pressures[row] >= limits[f"severe.{name}"] - TOLERANCE for row, name in enumerate(PRESSURES)))
    reaching: Bools = severe & (events.kind[rows] == HIGH)
    return reaching


def _lost(assessment: Assessment, events: Events, rows: slice) -> int:
    if events.kind[rows.start] != UNREADABLE or (events.row[rows] != NO_ROW).all():
        return 0
    return int(assessment.facts["series"]["unreadable_readings"][events.subject[rows.start]])


def _worst(assessment: Assessment, events: Events, rows: slice) -> int:
    """Return the place of the worst event: nearest to its end of the scale, as a share of the severe or low limit."""
    pressures, low = events.pressures[:, rows], events.kind[rows.start] == LOW
    limits = assessment.guidelines[int(events.subject[rows.start])].limits
    scale = [limits[f"{'low' if low else 'severe'}.{name}"] for name in ("systolic", "diastolic")]
    share = pressures / np.array(scale)[:, None]
    known = np.where(np.isnan(share), np.inf if low else -np.inf, share)
    return int(np.argmin(known.min(axis=0))) if low else int(np.argmax(known.max(axis=0)))
