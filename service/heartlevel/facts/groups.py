"""Facts of treatment, of limits in doubt, and of how evenly a series was gathered: pauses, last days, device checks."""

import numpy as np

from heartlevel.columns import Floats, extreme_by, steps
from heartlevel.facts.catalogue import fact
from heartlevel.facts.reading import Readings
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.vocabulary import BODY_POSITIONS, RELIABILITIES

STANDING = BODY_POSITIONS.index("standing")


@fact("reading", "local date of taken_at − checked_on of the device", unit="d", asked=False)
def days_since_device_check(facts: Readings) -> Floats:
    """Days from the device's last check against another to the reading; negative if it was checked later."""
    return facts.source.day - facts["device_checked_on"]


@fact("series", "age_years, pregnant or days_since_birth was sent and could not be read", flag=True, asked=False)
def limits_unclear(facts: Subjects) -> Floats:
    """A detail that decides which limits hold could not be read."""
    return np.array([bool(request.unclear) for request in facts.source.batch.requests], dtype=np.float64)


@fact("series", "readings with body_position standing, whatever their reliability", unit="1", asked=False)
def readings_taken_standing(facts: Subjects) -> Floats:
    """Readings taken standing."""
    return facts.source.count(facts.source.readings["body_position"] == STANDING)


@fact("series", "largest difference of neighbouring home days; 0 for one day", unit="d", asked=False)
def home_longest_pause_days(facts: Subjects) -> Floats:
    """Days from one home day to the next where most lie between; unknown without home readings."""
    batch, rows = facts.source.batch, facts.source.rows(HOME)
    order = np.lexsort((batch.day[rows], batch.subject_of[rows]))
    subject, day = batch.subject_of[rows][order], batch.day[rows][order]
    longest = np.full(len(batch.requests), np.nan)
    longest[subject] = 0
    same = subject[1:] == subject[:-1]
    np.maximum.at(longest, subject[1:][same], steps(day)[same].astype(np.float64))
    return longest


@fact("series", "doubtful office readings / usable office readings", unit="1", share=True, asked=False)
def office_doubtful_share(facts: Subjects) -> Floats:
    """Share of usable office readings that are doubtful."""
    doubtful = facts.source.reliability == RELIABILITIES.index("doubtful")
    return facts.source.share(facts.source.rows(OFFICE), doubtful.astype(np.float64))


def _last_day(facts: Subjects, setting: int) -> Floats:
    batch, rows = facts.source.batch, facts.source.rows(setting)
    day = batch.day[rows].astype(np.float64)
    return extreme_by(batch.subject_of[rows], len(batch.requests), day, largest=True)


def _last_home_day(facts: Subjects) -> Floats:
    return _last_day(facts, HOME)


@fact("series", "|last home day − last office day|, of usable readings", unit="d", asked=False)
def home_office_days_apart(facts: Subjects) -> Floats:
    """Days between the last home and the last office reading."""
    return np.abs(facts.once(_last_home_day) - _last_day(facts, OFFICE))


def _home_days(facts: Subjects, after: bool) -> Floats:
    """Count the home days from the start of the present treatment on, or before it; unknown where that was not recorded."""
    batch, began = facts.source.batch, facts["treatment_since"]
    since = batch.day - began[batch.subject_of]
    days = facts.source.days(facts.source.rows(HOME) & ((since >= 0) if after else (since < 0)))
    return np.where(np.isnan(began), np.nan, days)


@fact("series", "home days before treatment_since", unit="d", asked=False)
def home_days_before_treatment(facts: Subjects) -> Floats:
    """Home days before the present treatment."""
    return _home_days(facts, after=False)


@fact("series", "home days from treatment_since on", unit="d", asked=False)
def home_days_on_treatment(facts: Subjects) -> Floats:
    """Home days under the present treatment."""
    return _home_days(facts, after=True)


@fact("series", "last home day − treatment_since", unit="d", asked=False)
def days_on_treatment(facts: Subjects) -> Floats:
    """Days from the start of the present treatment to the last home reading; negative if all were taken before it."""
    return facts.once(_last_home_day) - facts["treatment_since"]
