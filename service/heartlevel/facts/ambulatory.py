"""Facts of an ambulatory measurement: averages by day, by night and over 24 hours, and the fall at night."""

from functools import partial

import numpy as np

from heartlevel.columns import Bools, Floats, steps, sum_by
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.series import Series, Subjects
from heartlevel.vocabulary import MMHG, SETTINGS

AMBULATORY = SETTINGS.index("ambulatory")
LONGEST_PAUSE = 6.0  # hours between two readings of one recording; for longer it was not worn (common practice: 1 at most)
_enter, _enter_both = partial(derived, "series", asked=False), partial(derived_both, "series", asked=False)


def _within(series: Series, part: str) -> Bools:
    hour, subject = series.batch.hour, series.batch.subject_of
    first = series.limit(f"protocol.ambulatory.{part}.from_hour")[subject]
    last = series.limit(f"protocol.ambulatory.{part}.before_hour")[subject]
    within: Bools = (hour >= first) & (hour < last)
    return within


def _part(series: Series, part: str) -> Bools:
    """Mark the usable ambulatory readings of 24 h, day or night: as recorded, else by the protocol's clock."""
    worn = series.rows(AMBULATORY)
    if part == "24h" or not worn.any():  # most requests have none
        return worn
    asleep = series.readings["asleep"]
    recorded = asleep == (1.0 if part == "night" else 0.0)
    marked: Bools = worn & (recorded | (np.isnan(asleep) & _within(series, part)))
    return marked


def days_worn(series: Series) -> Floats:
    """Return for how many days, of 24 hours each, every subject wore the device: 1 at least for any usable reading."""
    batch, worn = series.batch, series.rows(AMBULATORY)
    if not worn.any():  # most requests have none
        return np.zeros(len(batch.requests))
    owner, hours = batch.subject_of[worn], steps(batch.instant[worn]) / 3600
    within = (steps(owner) == 0) & (hours <= LONGEST_PAUSE)
    in_all = sum_by(owner[1:][within], len(batch.requests), hours[within])
    return np.where(series.count(worn) > 0, np.maximum(np.round(in_all / 24), 1), 0)


_enter("ambulatory_readings", "usable ambulatory readings", "Usable ambulatory readings",
       lambda facts: facts.source.count(_part(facts.source, "24h")), unit="1")  # fmt: skip
for _name, _state in (("day", "awake"), ("night", "asleep")):
    _enter(f"ambulatory_{_name}_readings",
           f"usable ambulatory readings {_state}; by the protocol's clock where not recorded",
           f"Ambulatory readings of the {_name}",
           lambda facts, part: facts.source.count(_part(facts.source, part)), _name, unit="1")  # fmt: skip


@fact("series", "ambulatory_day_readings and ambulatory_night_readings reach the protocol's minima", flag=True,
      asked=False)  # fmt: skip
def ambulatory_enough_for_protocol(facts: Subjects) -> Floats:
    """There are enough ambulatory readings by day and by night."""
    day = facts["ambulatory_day_readings"] >= facts.source.limit("protocol.ambulatory.minimum_day_readings")
    night = facts["ambulatory_night_readings"] >= facts.source.limit("protocol.ambulatory.minimum_night_readings")
    return (day & night).astype(np.float64)


for _name, _readings, _hours in (
    ("day", "the ambulatory readings of the day", "the day"),
    ("night", "the ambulatory readings of the night", "the night"),
    ("24h", "all usable ambulatory readings", "all hours"),
):
    _enter_both(f"ambulatory_{_name}_{{}}", f"mean of {_readings}", f"{{}} ambulatory average of {_hours}",
                lambda facts, pressure, part: facts.source.mean_over(
                    _part(facts.source, part), facts.source.readings[pressure]), _name, unit=MMHG)  # fmt: skip
_enter("ambulatory_night_fall", "1 − ambulatory_night_systolic / ambulatory_day_systolic",
       "Share by which the systolic average falls at night; negative where it rises",
       lambda facts: 1 - facts["ambulatory_night_systolic"] / facts["ambulatory_day_systolic"],
       unit="1", share=True)  # fmt: skip
