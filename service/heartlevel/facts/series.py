"""Facts of one person's whole series: how much was measured, when, and what it averages to."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Bools, Columns, Floats, Ints, count_by, extreme_by, mean_by
from heartlevel.facts.catalogue import DERIVED, fact
from heartlevel.facts.reading import Readings
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.selection import HOME, KEPT, OFFICE, UNUSABLE, Selection
from heartlevel.vocabulary import MMHG, RELIABILITIES, SETTINGS


@dataclass(frozen=True)
class Series:
    """What the facts of a series are computed from."""

    batch: Batch
    readings: Readings
    reliability: Ints
    selection: Selection
    averages: Averages
    protocols: Sequence[Protocol]

    def rows(self, setting: int) -> Bools:
        """Mark the usable readings of a setting."""
        return self._usable[setting]

    @cached_property
    def _usable(self) -> Sequence[Bools]:
        usable = self.reliability != UNUSABLE
        return [usable & (self.batch.setting == setting) for setting in range(len(SETTINGS))]

    def count(self, rows: Bools) -> Floats:
        """Count the marked readings of each subject."""
        return count_by(self.batch.subject_of, len(self.batch.requests), rows)

    def days(self, rows: Bools) -> Floats:
        """Count each subject's days (within a setting) that have a marked reading."""
        batch = self.batch
        measured = np.zeros(batch.days, dtype=bool)
        measured[batch.day_of[rows]] = True
        return count_by(batch.group_of_day // len(SETTINGS), len(batch.requests), measured)

    def share(self, rows: Bools, flags: Floats) -> Floats:
        """Return the share of flags that are true among the marked readings where they are known."""
        batch, known = self.batch, rows & ~np.isnan(flags)
        return mean_by(batch.subject_of[known], len(batch.requests), flags[known])

    def mean(self, setting: int, selection: str, quantity: int) -> Floats:
        """Return each subject's average of a selection; `quantity` is an index into QUANTITIES."""
        means: Floats = self.averages.mean[quantity, self.averages.row(selection), setting :: len(SETTINGS)]
        return means

    def limit(self, name: str) -> Floats:
        """Return a limit of each subject's protocol."""
        return np.array([protocol.limits[name] for protocol in self.protocols], dtype=np.float64)


Subjects: TypeAlias = Columns[Series]


def columns_of_series(series: Series) -> Subjects:
    """Return the facts of all series, the subject's among them."""
    return Columns(series, series.batch.subjects, DERIVED["series"])


@fact("series", "home readings that are not unusable", unit="1")
def home_readings(facts: Subjects) -> Floats:
    """Usable home readings."""
    return facts.source.count(facts.source.rows(HOME))


@fact("series", "office readings that are not unusable", unit="1")
def office_readings(facts: Subjects) -> Floats:
    """Usable office readings."""
    return facts.source.count(facts.source.rows(OFFICE))


@fact("series", "sittings at home that have a usable reading", unit="1")
def home_sittings(facts: Subjects) -> Floats:
    """Sittings at home."""
    batch = facts.source.batch
    measured = np.zeros(batch.sittings, dtype=bool)
    measured[batch.sitting_of[facts.source.rows(HOME)]] = True
    return count_by(batch.subject_of_sitting, len(batch.requests), measured)


@fact("series", "local days with a usable home reading", unit="d")
def home_days(facts: Subjects) -> Floats:
    """Days measured at home."""
    return facts.source.days(facts.source.rows(HOME))


@fact("series", "local days with a usable office reading", unit="d")
def office_days(facts: Subjects) -> Floats:
    """Days measured in the office."""
    return facts.source.days(facts.source.rows(OFFICE))


@fact("series", "home days with a reading in the protocol's morning", unit="d")
def home_mornings(facts: Subjects) -> Floats:
    """Mornings measured at home."""
    return facts.source.days(facts.source.rows(HOME) & facts.source.selection.averages["morning"])


@fact("series", "home days with a reading in the protocol's evening", unit="d")
def home_evenings(facts: Subjects) -> Floats:
    """Evenings measured at home."""
    return facts.source.days(facts.source.rows(HOME) & facts.source.selection.averages["evening"])


@fact("series", "home days with a reading on a work day", unit="d")
def home_work_days(facts: Subjects) -> Floats:
    """Work days measured at home."""
    return facts.source.days(facts.source.rows(HOME) & (facts.source.readings["work_day"] == 1))


@fact("series", "home days with a reading on a free day", unit="d")
def home_free_days(facts: Subjects) -> Floats:
    """Free days measured at home."""
    return facts.source.days(facts.source.rows(HOME) & (facts.source.readings["work_day"] == 0))


@fact("series", "last − first local day with a usable home reading", unit="d")
def span_days(facts: Subjects) -> Floats:
    """Days from the first home reading to the last."""
    batch, rows = facts.source.batch, facts.source.rows(HOME)
    subject, day, size = batch.subject_of[rows], batch.day[rows].astype(np.float64), len(batch.requests)
    return extreme_by(subject, size, day, largest=True) - extreme_by(subject, size, day, largest=False)


@fact("series", "quiet among home readings whose circumstances were recorded", unit="1", share=True)
def home_quiet_share(facts: Subjects) -> Floats:
    """Share of home readings taken in a quiet moment."""
    return facts.source.share(facts.source.rows(HOME), facts.source.readings["circumstance_quiet"])


@fact("series", "stress among home readings whose circumstances were recorded", unit="1", share=True)
def home_stress_share(facts: Subjects) -> Floats:
    """Share of home readings taken under stress."""
    return facts.source.share(facts.source.rows(HOME), facts.source.readings["circumstance_stress"])


@fact("series", "home readings whose circumstances were recorded / home readings", unit="1", share=True)
def home_circumstances_share(facts: Subjects) -> Floats:
    """Share of home readings with recorded circumstances."""
    recorded = ~np.isnan(facts.source.readings["circumstance_quiet"])
    return facts.source.share(facts.source.rows(HOME), recorded.astype(np.float64))


@fact("series", "doubtful home readings / usable home readings", unit="1", share=True)
def home_doubtful_share(facts: Subjects) -> Floats:
    """Share of usable home readings that are doubtful."""
    doubtful = facts.source.reliability == RELIABILITIES.index("doubtful")
    return facts.source.share(facts.source.rows(HOME), doubtful.astype(np.float64))


@fact("series", "selected_from above 1 among readings where it was recorded", unit="1", share=True)
def selected_share(facts: Subjects) -> Floats:
    """Share of readings that were picked out of several."""
    chosen_from = facts.source.readings["selected_from"]
    picked = np.where(np.isnan(chosen_from), np.nan, chosen_from > 1)
    return facts.source.share(np.ones(len(picked), dtype=bool), picked)


@fact("series", "home readings that the protocol's average takes", unit="1")
def home_kept(facts: Subjects) -> Floats:
    """Home readings left after the protocol's discards."""
    return facts.source.count(facts.source.rows(HOME) & (facts.source.selection.left_out == KEPT))


@fact("series", "home_days, home_readings and home_kept reach the protocol's minima", flag=True)
def home_enough_for_protocol(facts: Subjects) -> Floats:
    """There are enough home readings for the protocol's average."""
    limit = facts.source.limit
    enough = facts["home_days"] >= limit("protocol.home.minimum_days")
    enough &= facts["home_readings"] >= limit("protocol.home.minimum_recorded")
    enough &= (facts["home_kept"] >= limit("protocol.home.minimum_kept")) & (facts["home_kept"] > 0)
    return enough.astype(np.float64)


@fact("series", "office_readings and office_days reach the protocol's minima", flag=True)
def office_enough_for_protocol(facts: Subjects) -> Floats:
    """There are enough office readings for the protocol's average."""
    limit = facts.source.limit
    enough = facts["office_readings"] >= limit("protocol.office.minimum_readings")
    return (enough & (facts["office_days"] >= limit("protocol.office.minimum_days"))).astype(np.float64)


@fact("series", "mean of the home readings that the protocol keeps", unit=MMHG)
def home_systolic(facts: Subjects) -> Floats:
    """Systolic home average by protocol."""
    return facts.source.mean(HOME, "protocol", 0)


@fact("series", "mean of the home readings that the protocol keeps", unit=MMHG)
def home_diastolic(facts: Subjects) -> Floats:
    """Diastolic home average by protocol."""
    return facts.source.mean(HOME, "protocol", 1)


@fact("series", "mean of the office readings that the protocol uses", unit=MMHG)
def office_systolic(facts: Subjects) -> Floats:
    """Systolic office average by protocol."""
    return facts.source.mean(OFFICE, "protocol", 0)


@fact("series", "mean of the office readings that the protocol uses", unit=MMHG)
def office_diastolic(facts: Subjects) -> Floats:
    """Diastolic office average by protocol."""
    return facts.source.mean(OFFICE, "protocol", 1)


@fact("series", "office_systolic − home_systolic", unit=MMHG)
def office_minus_home_systolic(facts: Subjects) -> Floats:
    """Systolic difference between office and home."""
    return facts["office_systolic"] - facts["home_systolic"]


@fact("series", "office_diastolic − home_diastolic", unit=MMHG)
def office_minus_home_diastolic(facts: Subjects) -> Floats:
    """Diastolic difference between office and home."""
    return facts["office_diastolic"] - facts["home_diastolic"]


@fact("series", "mean of the usable home readings in the protocol's morning", unit=MMHG)
def home_morning_systolic(facts: Subjects) -> Floats:
    """Systolic home average of the mornings."""
    return facts.source.mean(HOME, "morning", 0)


@fact("series", "mean of the usable home readings in the protocol's evening", unit=MMHG)
def home_evening_systolic(facts: Subjects) -> Floats:
    """Systolic home average of the evenings."""
    return facts.source.mean(HOME, "evening", 0)


@fact("series", "home_morning_systolic − home_evening_systolic", unit=MMHG)
def morning_minus_evening_systolic(facts: Subjects) -> Floats:
    """Systolic difference between mornings and evenings at home."""
    return facts["home_morning_systolic"] - facts["home_evening_systolic"]
