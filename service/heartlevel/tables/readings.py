"""The readings of clean subjects in order of subject and time: times, units, copies, names; no object a reading."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import compress
from zoneinfo import ZoneInfo

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.intake.faults import padded
from heartlevel.intake.moments import TimedReading, local_hour, moment_of, number_repeated_names
from heartlevel.tables.examined import Examined
from heartlevel.tables.written_times import day_and_hour, moments
from heartlevel.vocabulary import HIGHEST_READABLE, KPA, MMHG_PER_KPA, PRESSURES, UNITS

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
    times = _times(examined, zones)
    pressures = _in_mmhg(examined)
    rows = np.flatnonzero(~examined.doubtful[examined.subject_of])
    rows = rows[np.lexsort((times.instant[rows], examined.subject_of[rows]))]
    rows = _same_instants_in_order(examined, times, rows, pressures)
    names = _names(examined, times, rows)
    kept = ~examined.doubtful[examined.subject_of[rows]]
    if not kept.all():
        rows, names = rows[kept], list(compress(names, kept.tolist()))
    in_order = {name: values[rows] for name, values in pressures.items()}
    return OrderedReadings(rows, names, times.instant[rows], times.day[rows], times.hour[rows], in_order)


@dataclass(frozen=True, slots=True)
class _Times:
    """When each row was taken. `texts` holds each row's time as it was written."""

    texts: list[str | None]
    instant: Floats
    day: Ints
    hour: Floats


def _times(examined: Examined, zones: Mapping[ZoneInfo | None, Ints]) -> _Times:
    """Read the times of the subjects of each zone; who has one that cannot be read is marked."""
    size, texts = len(examined.subject_of), examined.columns["taken_at"].values()
    times = _Times(texts, np.full(size, np.nan), np.zeros(size, dtype=np.int64), np.full(size, np.nan))
    for zone, subjects in zones.items():
        rows = np.flatnonzero(np.isin(examined.subject_of, subjects))
        read = moments([texts[row] or "" for row in rows.tolist()], zone)
        times.instant[rows] = read.instant
        times.day[rows], times.hour[rows] = day_and_hour(read.local)
        for row in rows[~read.sure].tolist():
            moment, problems = moment_of(texts[row] or "", zone, "")
            if moment is None or problems:
                examined.doubt(np.array([row]))
            else:
                times.instant[row], times.day[row] = moment.timestamp(), moment.toordinal()
                times.hour[row] = local_hour(moment)
    return times


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
    ids = examined.columns["id"].values() if "id" in examined.columns else None
    return [(ids[row] if ids else None) or f"@{times.texts[row]}" for row in rows.tolist()]


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
    alike = np.zeros(len(owner), dtype=bool)
    if instant is not None:
        alike[1:] = (owner[1:] == owner[:-1]) & (instant[1:] == instant[:-1])
    else:
        known: dict[str, int] = {}
        numbers = np.array([known.setdefault(name, len(known)) for name in names], dtype=np.int64)
        alike[:] = True
        alike[np.unique(owner * len(known) + numbers, return_index=True)[1]] = False
    subjects: list[int] = np.unique(owner[alike]).tolist()
    return subjects
