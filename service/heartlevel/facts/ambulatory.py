"""Facts of an ambulatory measurement: averages by day, by night and over 24 hours, and the fall at night."""

import numpy as np

from heartlevel.columns import Bools, Floats, mean_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.series import Series, Subjects
from heartlevel.vocabulary import MMHG, SETTINGS

AMBULATORY = SETTINGS.index("ambulatory")


def _within(series: Series, part: str) -> Bools:
    hour, subject = series.batch.hour, series.batch.subject_of
    first = series.limit(f"protocol.ambulatory.{part}.from_hour")[subject]
    last = series.limit(f"protocol.ambulatory.{part}.before_hour")[subject]
    within: Bools = (hour >= first) & (hour < last)
    return within


def _part(series: Series, part: str) -> Bools:
    """Mark the usable ambulatory readings of the day or the night: as recorded, else by the protocol's clock."""
    worn = series.rows(AMBULATORY)
    if not worn.any():  # most requests have none
        return worn
    asleep = series.readings["asleep"]
    recorded = asleep == (1.0 if part == "night" else 0.0)
    by_clock = np.isnan(asleep) & _within(series, part)
    marked: Bools = worn & (recorded | by_clock)
    return marked


def _mean(series: Series, rows: Bools, pressure: str) -> Floats:
    if not rows.any():
        return np.full(len(series.batch.requests), np.nan)
    return mean_by(series.batch.subject_of[rows], len(series.batch.requests), series.readings[pressure][rows])


@fact("series", "usable ambulatory readings", unit="1", asked=False)
def ambulatory_readings(facts: Subjects) -> Floats:
    """Usable ambulatory readings."""
    return facts.source.count(facts.source.rows(AMBULATORY))


@fact("series", "usable ambulatory readings awake; by the protocol's clock where not recorded", unit="1", asked=False)
def ambulatory_day_readings(facts: Subjects) -> Floats:
    """Ambulatory readings of the day."""
    return facts.source.count(_part(facts.source, "day"))


@fact("series", "usable ambulatory readings asleep; by the protocol's clock where not recorded", unit="1", asked=False)
def ambulatory_night_readings(facts: Subjects) -> Floats:
    """Ambulatory readings of the night."""
    return facts.source.count(_part(facts.source, "night"))


@fact("series", "ambulatory_day_readings and ambulatory_night_readings reach the protocol's minima", flag=True,
      asked=False)  # fmt: skip
def ambulatory_enough_for_protocol(facts: Subjects) -> Floats:
    """There are enough ambulatory readings by day and by night."""
    day = facts["ambulatory_day_readings"] >= facts.source.limit("protocol.ambulatory.minimum_day_readings")
    night = facts["ambulatory_night_readings"] >= facts.source.limit("protocol.ambulatory.minimum_night_readings")
    return (day & night).astype(np.float64)


@fact("series", "mean of the ambulatory readings of the day", unit=MMHG, asked=False)
def ambulatory_day_systolic(facts: Subjects) -> Floats:
    """Systolic ambulatory average of the day."""
    return _mean(facts.source, _part(facts.source, "day"), "systolic")


@fact("series", "mean of the ambulatory readings of the day", unit=MMHG, asked=False)
def ambulatory_day_diastolic(facts: Subjects) -> Floats:
    """Diastolic ambulatory average of the day."""
    return _mean(facts.source, _part(facts.source, "day"), "diastolic")


@fact("series", "mean of the ambulatory readings of the night", unit=MMHG, asked=False)
def ambulatory_night_systolic(facts: Subjects) -> Floats:
    """Systolic ambulatory average of the night."""
    return _mean(facts.source, _part(facts.source, "night"), "systolic")


@fact("series", "mean of the ambulatory readings of the night", unit=MMHG, asked=False)
def ambulatory_night_diastolic(facts: Subjects) -> Floats:
    """Diastolic ambulatory average of the night."""
    return _mean(facts.source, _part(facts.source, "night"), "diastolic")


@fact("series", "mean of all usable ambulatory readings", unit=MMHG, asked=False)
def ambulatory_24h_systolic(facts: Subjects) -> Floats:
    """Systolic ambulatory average of all hours."""
    return _mean(facts.source, facts.source.rows(AMBULATORY), "systolic")


@fact("series", "mean of all usable ambulatory readings", unit=MMHG, asked=False)
def ambulatory_24h_diastolic(facts: Subjects) -> Floats:
    """Diastolic ambulatory average of all hours."""
    return _mean(facts.source, facts.source.rows(AMBULATORY), "diastolic")


@fact("series", "1 − ambulatory_night_systolic / ambulatory_day_systolic", unit="1", share=True, asked=False)
def ambulatory_night_fall(facts: Subjects) -> Floats:
    """Share by which the systolic average falls at night; negative where it rises."""
    return 1 - facts["ambulatory_night_systolic"] / facts["ambulatory_day_systolic"]
