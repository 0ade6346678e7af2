"""The person's own day: for who sleeps at other times than most, days and hours are counted from their own night."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heartlevel.columns import Floats
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol

HOURS_OF_DAY = 24


def by_own_days(batch: Batch, protocols: Sequence[Protocol]) -> Batch:
    """Return the batch with the days and hours of those who sleep at other times counted as their own.

    Who usually wakes in the protocol's morning keeps the clock. For others it is turned so that their night lies where the
    protocol's does: by the middle of it, or by the end that was recorded (a convention here).
    """
    waking, sleep = batch.subjects["usual_waking"], batch.subjects["usual_sleep"]
    if np.isnan(waking).all() and np.isnan(sleep).all():
        return batch
    later = _hours_later(waking, sleep, protocols)
    own = batch.hour - later[batch.subject_of]
    days = np.floor(own / HOURS_OF_DAY)
    day = batch.day + days.astype(np.int64)
    return replace(batch, day=day, hour=own - days * HOURS_OF_DAY, clock=(batch.day, batch.hour))


def _hours_later(waking: Floats, sleep: Floats, protocols: Sequence[Protocol]) -> Floats:
    """Return how much later than the protocol's the night of each person is; negative where it is earlier."""

    def limit(name: str) -> Floats:
        return np.array([protocol.limits[f"protocol.{name}"] for protocol in protocols], dtype=np.float64)

    by_waking = _turned(waking - limit("ambulatory.night.before_hour"))
    by_sleep = _turned(sleep - limit("ambulatory.night.from_hour"))
    by_both = _turned(by_waking + _turned(by_sleep - by_waking) / 2)
    later = np.where(np.isnan(waking), by_sleep, np.where(np.isnan(sleep), by_waking, by_both))
    usual = (waking >= limit("morning.from_hour")) & (waking < limit("morning.before_hour"))
    usual |= np.isnan(waking) & ((sleep >= limit("evening.from_hour")) | (sleep < limit("morning.from_hour")))
    return np.where(usual | np.isnan(later), 0.0, later)


def _turned(hours: Floats) -> Floats:
    """Return hours of a difference of clocks from −12 up to 12."""
    half = HOURS_OF_DAY / 2
    turned: Floats = (hours + half) % HOURS_OF_DAY - half
    return turned
