"""How urgent it is, as it stands in the answer: the level, what to do, and the episodes behind it."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Any

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import rounded
from heartlevel.conclusions.urgency.episodes import LEAST_URGENT
from heartlevel.conclusions.urgency.events import NO_ROW
from heartlevel.conclusions.urgency.following import Episode
from heartlevel.conclusions.urgency.sentences import PATIENT, counted_from, symptoms_named, to_do, told
from heartlevel.intake.batch import Batch
from heartlevel.vocabulary import EPISODE_KINDS, PRESSURES, URGENCY_LEVELS


def urgency_written(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return how urgent it is for a subject."""
    urgency, level = conclusions.urgency, int(conclusions.urgency.levels[subject])
    names: dict[int, list[str]] = {}
    for finding in conclusions.findings[subject]:
        if finding.episode:
            names.setdefault(id(finding.episode), []).append(finding.name)
    return {
        "level": URGENCY_LEVELS[level],
        "text": told(urgency, subject),
        "patient": to_do(urgency, subject, level, PATIENT),
        "days_counted_from": counted_from(urgency, subject),
        "episodes": [_written(conclusions, episode, names) for episode in urgency.episodes[subject]],
    }


def is_urgent(written: Mapping[str, Any]) -> bool:
    """Tell whether an urgency, as it stands in an answer, is one that `urgent` is true for."""
    return written["level"] in URGENCY_LEVELS[: LEAST_URGENT + 1]


def _written(conclusions: Conclusions, episode: Episode, names: Mapping[int, list[str]]) -> dict[str, Any]:
    day, days_ago = rounded(episode.day, 0), rounded(episode.days_ago, 0)
    return {
        "kind": EPISODE_KINDS[episode.kind],
        "level": URGENCY_LEVELS[episode.level],
        "worst": _worst(conclusions, episode),
        "day": date.fromordinal(int(day)).isoformat() if day else None,
        "days_ago": None if days_ago is None else int(days_ago),
        "readings": len(episode.rows) + episode.lost,
        "followed_by": _followed_by(conclusions, episode),
        "symptoms": symptoms_named(episode.bits),
        "findings": names.get(id(episode), []),
    }


def _worst(conclusions: Conclusions, episode: Episode) -> dict[str, Any] | None:
    if episode.worst is None:
        return None
    pressures = dict(zip(PRESSURES, map(rounded, episode.worst), strict=True))
    batch, row = conclusions.assessment.batch, episode.worst_row
    assessed = row != NO_ROW
    return {
        **pressures,
        "reading": batch.names[row] if assessed else None,
        "taken_at": local_time(batch, row) if assessed else None,
    }


def local_time(batch: Batch, row: int) -> str:
    """Return when a reading was taken, by the local clock."""
    day, hour = int(batch.calendar_day[row]), float(batch.wall_clock[row])
    wall = datetime.combine(date.fromordinal(day), time(), UTC) + timedelta(hours=hour)
    offset = timedelta(minutes=round((wall.timestamp() - float(batch.instant[row])) / 60))
    instant = datetime.fromtimestamp(round(float(batch.instant[row])), UTC)
    return instant.astimezone(timezone(offset)).isoformat()


def _followed_by(conclusions: Conclusions, episode: Episode) -> dict[str, Any] | None:
    repeat = episode.followed_by
    if repeat is None:
        return None
    readings = conclusions.assessment.batch.readings
    pressures = {name: rounded(readings[name][repeat.row]) for name in PRESSURES}
    return {**pressures, "minutes": rounded(repeat.minutes), "credited": repeat.credited}
