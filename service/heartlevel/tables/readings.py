"""The readings of clean subjects in order of subject and time: times, units, copies, names; no object a reading."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from heartlevel.columns import Floats, Ints
from heartlevel.intake.faults import padded
from heartlevel.intake.moments import TimedReading, local_hour, moment_of, number_repeated_names
from heartlevel.intake.schema import HIGHEST_READABLE
from heartlevel.tables.examined import Examined
from heartlevel.tables.written_times import day_and_hour, moments
from heartlevel.vocabulary import KPA, MMHG_PER_KPA, PRESSURES, UNITS

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class OrderedReadings:
    """Readings of subjects about whom nothing is doubtful, a row each; `rows` are those examined."""

    rows: Ints
    names: list[str]
    instant: Floats  # seconds since 1970-01-01T00:00Z
    day: Ints  # proleptic ordinal
    hour: Floats
    pressures: Mapping[str, Floats]  # in mm[Hg]


def ordered_readings(examined: Examined, zones: Mapping[ZoneInfo | None, Ints]) -> OrderedReadings:
    """Put the readings of clean subjects in order; subjects of whom something cannot be read after all are marked.

    `zones` holds the clean subjects by the time zone that their days are counted in.
    """
    times = _Times(examined)
    for zone, subjects in zones.items():
        times.read(zone, subjects)
    pressures = _in_mmhg(examined)
    rows = _clean_rows(examined)
    rows = rows[np.lexsort((times.instant[rows], examined.subject_of[rows]))]
    rows = _same_instants_in_order(examined, times, rows, pressures)
    names = _names(examined, times, rows)
    kept = ~examined.doubtful[examined.subject_of[rows]]
    if not kept.all():
        rows, names = rows[kept], [name for name, keep in zip(names, kept.tolist(), strict=True) if keep]
    in_order = {name: values[rows] for name, values in pressures.items()}
    return OrderedReadings(rows, names, times.instant[rows], times.day[rows], times.hour[rows], in_order)


def _clean_rows(examined: Examined) -> Ints:
    return np.flatnonzero(~examined.doubtful[examined.subject_of])


class _Times:
    """When each row was taken. `texts` holds each row's time as it was written."""

    def __init__(self, examined: Examined) -> None:
        size = len(examined.subject_of)
        self.texts: list[str | None] = examined.columns["taken_at"].values()
        self.instant, self.hour = np.full(size, np.nan), np.full(size, np.nan)
        self.day = np.zeros(size, dtype=np.int64)
        self._examined = examined

    def read(self, zone: ZoneInfo | None, subjects: Ints) -> None:
        """Read the times of subjects."""
        chosen = np.zeros(len(self._examined.subjects), dtype=bool)
        chosen[subjects] = True
        rows = np.flatnonzero(chosen[self._examined.subject_of])
        texts = [self.texts[row] or "" for row in rows.tolist()]
        read = moments(texts, zone)
        self.instant[rows] = read.instant
        self.day[rows], self.hour[rows] = day_and_hour(read.local)
        for row in rows[~read.sure].tolist():
            self._read_alone(row, zone)

    def _read_alone(self, row: int, zone: ZoneInfo | None) -> None:
        moment, problems = moment_of(self.texts[row] or "", zone, "")
        if moment is None or problems:
            self._examined.doubt(np.array([row]))
        else:
            self.instant[row], self.day[row] = moment.timestamp(), moment.toordinal()
            self.hour[row] = local_hour(moment)


def _in_mmhg(examined: Examined) -> dict[str, Floats]:
    """Convert kilopascals; subjects with what is no blood pressure in kilopascals are marked."""
    pressures = {name: examined.columns[name].codes for name in PRESSURES}
    unit = examined.columns.get("unit")
    if unit is None:
        return pressures
    in_kpa = unit.codes == UNITS.index(KPA)
    for name, values in pressures.items():
        converted = values * MMHG_PER_KPA
        examined.doubt(in_kpa & (converted > HIGHEST_READABLE))
        pressures[name] = np.where(in_kpa, converted, values)
    return pressures


def _same_instants_in_order(examined: Examined, times: _Times, rows: Ints, pressures: Mapping[str, Floats]) -> Ints:
    """Order readings of one instant as in a request; subjects of whom some may be copies are marked."""
    owner, instant = examined.subject_of[rows], times.instant[rows]
    same = (owner[1:] == owner[:-1]) & (instant[1:] == instant[:-1])
    if not same.any():
        return rows
    at = np.flatnonzero(np.append(False, same) | np.append(same, False))
    group = np.cumsum(np.append(True, ~same))[at].tolist()
    names = map(padded, _given_names(examined, times, rows[at]))
    measured = [pressures[name][rows[at]].tolist() for name in PRESSURES]
    keys = list(zip(group, names, *measured, strict=True))
    rows[at] = rows[at[sorted(range(len(keys)), key=keys.__getitem__)]]
    copies = [number for (number, *_), count in Counter(zip(group, *measured, strict=True)).items() if count > 1]
    examined.doubt(rows[at[np.isin(group, copies)]])
    return rows


def _given_names(examined: Examined, times: _Times, rows: Ints) -> list[str]:
    given = examined.columns.get("id")
    if given is None:
        return [f"@{times.texts[row]}" for row in rows.tolist()]
    ids = given.values()
    return [ids[row] or f"@{times.texts[row]}" for row in rows.tolist()]


def _names(examined: Examined, times: _Times, rows: Ints) -> list[str]:
    """Name each reading; those of a subject that share a name are told apart as in a request.

    Subjects of whom several share a name that was given are marked.
    """
    names, owner = _given_names(examined, times, rows), examined.subject_of[rows]
    ids = examined.columns["id"].values() if "id" in examined.columns else None
    for subject in _sharing_names(owner, names, times.instant[rows] if ids is None else None):
        start, end = np.searchsorted(owner, [subject, subject + 1]).tolist()
        given = [ids[row] if ids else None for row in rows[start:end].tolist()]
        taken = [TimedReading(0.0, EPOCH, names[start + at], at, {"id": name}) for at, name in enumerate(given)]
        if number_repeated_names(taken):
            examined.doubtful[subject] = True
        names[start:end] = [reading.name for reading in taken]
    return names


def _sharing_names(owner: Ints, names: list[str], instant: Floats | None) -> list[int]:
    """Return the subjects of whom several readings share a name. Names made of times are shared only by one instant."""
    if instant is not None:
        alike = np.zeros(len(owner), dtype=bool)
        alike[1:] = (owner[1:] == owner[:-1]) & (instant[1:] == instant[:-1])
    else:
        alike = pd.DataFrame({"owner": owner, "name": pd.Series(names, dtype=object)}).duplicated().to_numpy()
    subjects: list[int] = np.unique(owner[alike]).tolist()
    return subjects
