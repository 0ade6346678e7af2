"""Facts of one person's whole series: how much was measured, when, and what it averages to."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any, TypeAlias

import numpy as np

from heartlevel.columns import Bools, Columns, Floats, Ints, count_by, extreme_by, mean_by, spread_by
from heartlevel.facts.catalogue import DERIVED, derived, derived_both, fact
from heartlevel.facts.reading import Readings
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.averages import QUANTITIES, Averages
from heartlevel.statistics.selection import HOME, OFFICE, UNUSABLE, Selection
from heartlevel.vocabulary import MMHG, RELIABILITIES, SETTINGS


@dataclass(frozen=True, slots=True)
class Doubt:
    """What technique faults do to doubtful readings (mm[Hg]; a row a pressure, a column a reading)."""

    high: Floats  # by how much too high the strongest fault that reads high has them
    low: Floats  # the same of those that read low, negative
    unsized: Bools  # a fault of which no size is published; one value a reading

    @property
    def any(self) -> Bools:
        """Mark the readings that have any such fault."""
        marked: Bools = np.logical_or.reduce(self.by_kind)
        return marked

    @property
    def by_kind(self) -> tuple[Bools, Bools, Bools]:
        """Mark the readings with a fault of no published size, with one that reads high, with one that reads low."""
        high: Bools = np.logical_or.reduce(self.high > 0)
        low: Bools = np.logical_or.reduce(self.low < 0)
        return self.unsized, high, low


@dataclass(frozen=True)
class Series:
    """What the facts of a series are computed from."""

    batch: Batch
    readings: Readings
    reliability: Ints
    selection: Selection
    averages: Averages
    protocols: Sequence[Protocol]
    devices: Columns[Any]  # the facts of all device checks
    doubt: Doubt

    @cached_property
    def usable(self) -> Bools:
        """Mark the usable readings of the period concluded on."""
        usable: Bools = self.reliability != UNUSABLE
        current = self.batch.current
        return usable if current is None else usable & current

    @property
    def current(self) -> Bools:
        """Mark the readings of the period concluded on, usable or not."""
        return np.ones(self.batch.size, dtype=bool) if self.batch.current is None else self.batch.current

    def rows(self, setting: int) -> Bools:
        """Mark the usable readings of a setting."""
        return self._usable[setting]

    @cached_property
    def _usable(self) -> Sequence[Bools]:
        return [self.usable & (self.batch.setting == setting) for setting in range(len(SETTINGS))]

    @property
    def kept_at_home(self) -> Bools:
        """Mark the home readings that the protocol's average takes."""
        return self.rows(HOME) & self.selection.averages["protocol"]

    def count(self, rows: Bools) -> Floats:
        """Count the marked readings of each subject."""
        return count_by(self.batch.subject_of, len(self.batch.requests), rows)

    @cached_property
    def subject_of_day(self) -> Ints:
        """The subject of each day of a setting."""
        return self.batch.group_of_day // len(SETTINGS)

    def days(self, rows: Bools) -> Floats:
        """Count each subject's days (within a setting) that have a marked reading."""
        batch = self.batch
        measured = np.zeros(batch.days, dtype=bool)
        measured[batch.day_of[rows]] = True
        return count_by(self.subject_of_day, len(batch.requests), measured)

    def mean_over(self, rows: Bools, values: Floats) -> Floats:
        """Return each subject's mean of the values that are known of the marked readings: of flags, the share."""
        batch, known = self.batch, rows & ~np.isnan(values)
        if not known.any():
            return np.full(len(batch.requests), np.nan)
        return mean_by(batch.subject_of[known], len(batch.requests), values[known])

    def figure(self, name: str, setting: int, selection: str) -> Floats:
        """Return `readings` or `days` of each subject's average of a selection, or its mean `systolic` or `diastolic`."""
        averages, groups = self.averages, slice(setting, None, len(SETTINGS))
        if name in QUANTITIES:
            mean: Floats = averages.mean[QUANTITIES.index(name), averages.row(selection), groups]
            return mean
        counts: Floats = getattr(averages, name)[averages.row(selection), groups]
        return counts

    def last_day(self, setting: int) -> Floats:
        """Return the last day on which each subject has a usable reading of a setting; NaN where there is none."""
        return self._last_days[:, setting]

    @cached_property
    def _last_days(self) -> Floats:
        batch, usable = self.batch, self.usable
        days = extreme_by(batch.group_of[usable], batch.groups, batch.day[usable].astype(np.float64), largest=True)
        return days.reshape(-1, len(SETTINGS))

    def doubtful_share(self, setting: int) -> Floats:
        """Return the share of each subject's usable readings of a setting that are doubtful."""
        doubtful = self.reliability == RELIABILITIES.index("doubtful")
        return self.mean_over(self.rows(setting), doubtful.astype(np.float64))

    def limit(self, name: str) -> Floats:
        """Return a limit of each subject's protocol."""
        return np.array([protocol.limits[name] for protocol in self.protocols], dtype=np.float64)


Subjects: TypeAlias = Columns[Series]


def columns_of_series(series: Series) -> Subjects:
    """Return the facts of all series, the subject's among them."""
    subjects = series.batch.subjects
    return Columns(series, DERIVED["series"], subjects, np.arange(len(series.batch.requests)), subjects)


_enter, _enter_both = partial(derived, "series"), partial(derived_both, "series")


def _count(name: str, formula: str, meaning: str, figure: str, setting: int, selection: str = "all") -> None:
    """Enter a number of readings or of days that an average counts."""
    _enter(name, formula, meaning, lambda facts: facts.source.figure(figure, setting, selection),
           unit="d" if figure == "days" else "1")  # fmt: skip


_count("home_readings", "home readings that are not unusable", "Usable home readings", "readings", HOME)
_count("office_readings", "office readings that are not unusable", "Usable office readings", "readings", OFFICE)


@fact("series", "sittings at home that have a usable reading", unit="1")
def home_sittings(facts: Subjects) -> Floats:
    """Sittings at home."""
    batch = facts.source.batch
    measured = np.zeros(batch.sittings, dtype=bool)
    measured[batch.sitting_of[facts.source.rows(HOME)]] = True
    return count_by(batch.subject_of_sitting, len(batch.requests), measured)


_count("home_days", "local days with a usable home reading", "Days measured at home", "days", HOME)
_count("office_days", "local days with a usable office reading", "Days measured in the office", "days", OFFICE)
for _part in ("morning", "evening"):
    _count(f"home_{_part}s", f"home days with a reading in the protocol's {_part}",
           f"{_part.capitalize()}s measured at home", "days", HOME, _part)  # fmt: skip
for _kind in ("work", "free"):
    _count(f"home_{_kind}_days", f"home days with a reading on a {_kind} day",
           f"{_kind.capitalize()} days measured at home", "days", HOME, f"{_kind}-days")  # fmt: skip


@fact("series", "last − first local day with a usable home reading", unit="d")
def span_days(facts: Subjects) -> Floats:
    """Days from the first home reading to the last."""
    batch, rows = facts.source.batch, facts.source.rows(HOME)
    return spread_by(batch.subject_of[rows], len(batch.requests), batch.day[rows].astype(np.float64))


for _circumstance, _taken in (("quiet", "in a quiet moment"), ("stress", "under stress")):
    _enter(f"home_{_circumstance}_share", f"{_circumstance} among home readings whose circumstances were recorded",
           f"Share of home readings taken {_taken}",
           lambda facts, column: facts.source.mean_over(facts.source.rows(HOME), facts.source.readings[column]),
           f"circumstance_{_circumstance}", unit="1", share=True)  # fmt: skip


@fact("series", "home readings whose circumstances were recorded / home readings", unit="1", share=True)
def home_circumstances_share(facts: Subjects) -> Floats:
    """Share of home readings with recorded circumstances."""
    recorded = ~np.isnan(facts.source.readings["circumstance_quiet"])
    return facts.source.mean_over(facts.source.rows(HOME), recorded.astype(np.float64))


_enter("home_doubtful_share", "doubtful home readings / usable home readings",
       "Share of usable home readings that are doubtful", lambda facts: facts.source.doubtful_share(HOME),
       unit="1", share=True)  # fmt: skip


@fact("series", "selected_from above 1 among readings where it was recorded", unit="1", share=True)
def selected_share(facts: Subjects) -> Floats:
    """Share of readings that were picked out of several."""
    chosen_from = facts.source.readings["selected_from"]
    picked = np.where(np.isnan(chosen_from), np.nan, chosen_from > 1)
    return facts.source.mean_over(facts.source.current, picked)


_count("home_kept", "home readings that the protocol's average takes", "Home readings left after the protocol's discards",
       "readings", HOME, "protocol")  # fmt: skip


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


for _setting, _number, _use in (("home", HOME, "keeps"), ("office", OFFICE, "uses")):
    _enter_both(f"{_setting}_{{}}", f"mean of the {_setting} readings that the protocol {_use}",
                f"{{}} {_setting} average by protocol",
                lambda facts, pressure, setting: facts.source.figure(pressure, setting, "protocol"), _number,
                unit=MMHG)  # fmt: skip
_enter_both("office_minus_home_{}", "office_{} − home_{}", "{} difference between office and home",
            lambda facts, pressure: facts[f"office_{pressure}"] - facts[f"home_{pressure}"], unit=MMHG)  # fmt: skip
for _part in ("morning", "evening"):
    _enter(f"home_{_part}_systolic", f"mean of the usable home readings in the protocol's {_part}",
           f"Systolic home average of the {_part}s",
           lambda facts, part: facts.source.figure("systolic", HOME, part), _part, unit=MMHG)  # fmt: skip
_enter("morning_minus_evening_systolic", "home_morning_systolic − home_evening_systolic",
       "Systolic difference between mornings and evenings at home",
       lambda facts: facts["home_morning_systolic"] - facts["home_evening_systolic"], unit=MMHG)  # fmt: skip
