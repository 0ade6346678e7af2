"""Facts of special groups of people and of how evenly a series was gathered: standing, devices, pauses, last check."""

import numpy as np

from heartlevel.columns import Floats, extreme_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.reading import Readings
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.vocabulary import BODY_POSITIONS, RELIABILITIES

STANDING = BODY_POSITIONS.index("standing")


@fact("reading", "local date of taken_at − checked_on of the device", unit="d", asked=False)
def days_since_device_check(c: Readings) -> Floats:
    """Days from the device's last check against another to the reading; negative if it was checked later."""
    return c.source.day - c["device_checked_on"]


@fact("series", "readings with body_position standing, whatever their reliability", unit="1", asked=False)
def readings_taken_standing(c: Subjects) -> Floats:
    """Readings taken standing."""
    return c.source.count(c.source.readings["body_position"] == STANDING)


@fact("series", "largest difference of neighbouring home days; 0 for one day", unit="d", asked=False)
def home_longest_pause_days(c: Subjects) -> Floats:
    """Days from one home day to the next where most lie between; unknown without home readings."""
    batch, rows = c.source.batch, c.source.rows(HOME)
    order = np.lexsort((batch.day[rows], batch.subject_of[rows]))
    subject, day = batch.subject_of[rows][order], batch.day[rows][order]
    longest = np.full(len(batch.requests), np.nan)
    longest[subject] = 0
    same = subject[1:] == subject[:-1]
    np.maximum.at(longest, subject[1:][same], np.diff(day)[same].astype(np.float64))
    return longest


@fact("series", "doubtful office readings / usable office readings", unit="1", asked=False)
def office_doubtful_share(c: Subjects) -> Floats:
    """Share of usable office readings that are doubtful."""
    doubtful = c.source.reliability == RELIABILITIES.index("doubtful")
    return c.source.share(c.source.rows(OFFICE), doubtful.astype(np.float64))


@fact("series", "|last home day − last office day|, of usable readings", unit="d", asked=False)
def home_office_days_apart(c: Subjects) -> Floats:
    """Days between the last home and the last office reading."""
    batch = c.source.batch

    def last(setting: int) -> Floats:
        rows = c.source.rows(setting)
        day = batch.day[rows].astype(np.float64)
        return extreme_by(batch.subject_of[rows], len(batch.requests), day, largest=True)

    return np.abs(last(HOME) - last(OFFICE))
