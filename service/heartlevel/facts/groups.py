"""Facts of treatment, of limits in doubt, and of how evenly a series was gathered: pauses, last days, repeats."""

from functools import partial

import numpy as np

from heartlevel.columns import Floats, median_by, steps
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.comparison import first_home_pairs
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.vocabulary import BODY_POSITIONS, MMHG

STANDING = BODY_POSITIONS.index("standing")
_enter = partial(derived, "series", asked=False)


derived("reading", "days_since_device_check", "local date of taken_at − checked_on of the device",
        "Days from the device's last check against another to the reading; negative if it was checked later",
        lambda facts: facts.source.calendar_day - facts["device_checked_on"], unit="d", asked=False)  # fmt: skip
_enter("limits_unclear", "age_years, pregnant or days_since_birth was sent and could not be read",
       "A detail that decides which limits hold could not be read",
       lambda facts: np.array([bool(request.unclear) for request in facts.source.batch.requests], dtype=np.float64),
       flag=True)  # fmt: skip
_enter("readings_taken_standing", "readings with body_position standing, whatever their reliability",
       "Readings taken standing", lambda facts: facts.source.count(facts.source.readings["body_position"] == STANDING),
       unit="1")  # fmt: skip


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


_enter("office_doubtful_share", "doubtful office readings / usable office readings",
       "Share of usable office readings that are doubtful", lambda facts: facts.source.doubtful_share(OFFICE),
       unit="1", share=True)  # fmt: skip
_enter("home_office_days_apart", "|last home day − last office day|, of usable readings",
       "Days between the last home and the last office reading",
       lambda facts: np.abs(facts.source.last_day(HOME) - facts.source.last_day(OFFICE)), unit="d")  # fmt: skip


def _home_days(facts: Subjects, after: bool) -> Floats:
    """Count the home days from the start of the present treatment on, or before it; unknown where that was not recorded."""
    batch, began = facts.source.batch, facts["treatment_since"]
    since = batch.day - began[batch.subject_of]
    days = facts.source.days(facts.source.rows(HOME) & ((since >= 0) if after else (since < 0)))
    return np.where(np.isnan(began), np.nan, days)


_enter("home_days_before_treatment", "home days before treatment_since", "Home days before the present treatment",
       _home_days, False, unit="d")  # fmt: skip
_enter("home_days_on_treatment", "home days from treatment_since on", "Home days under the present treatment",
       _home_days, True, unit="d")  # fmt: skip
_enter("days_on_treatment", "last home day − treatment_since", "Days from the start of the present treatment to the last "
       "home reading; negative if all were taken before it",
       lambda facts: facts.source.last_day(HOME) - facts["treatment_since"], unit="d")  # fmt: skip


def _apart(facts: Subjects, pressure: str) -> Floats:
    pair, alike = facts.once(first_home_pairs)
    batch = facts.source.batch
    first, second = batch.readings[pressure][pair[:, alike]]
    return median_by(batch.subject_of_sitting[alike], len(batch.requests), np.abs(first - second))


derived_both("series", "home_repeats_apart_{}", "median over home_repeated_sittings of |first {} − second {}|",
             "How far apart the first two {} values of a home sitting are, in the middle one of the sittings", _apart,
             unit=MMHG, asked=False)  # fmt: skip
