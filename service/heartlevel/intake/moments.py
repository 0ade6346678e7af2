"""When each reading was taken: instants, local days and hours; exact duplicates; pressures in mm[Hg]."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from itertools import groupby
from operator import attrgetter, le
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import orjson

from heartlevel.intake.faults import Problem, padded, problem
from heartlevel.intake.written import time_written
from heartlevel.vocabulary import HIGHEST_READABLE, KPA, MMHG_PER_KPA

# Two entries of one measurement may differ in these: its name, and how its time and unit are written.
NOT_COMPARED = {"id": None, "taken_at": None, "unit": None}


class TimedReading(msgspec.Struct):
    """A readable reading and when it was taken; `data` is as sent, but pressures are in mm[Hg]."""

    instant: float  # seconds since 1970-01-01T00:00Z
    local: datetime
    name: str
    index: int  # in the list sent
    data: dict[str, Any]


def timed_readings(
    readings: Mapping[int, dict[str, Any]], zone: ZoneInfo | None
) -> tuple[list[TimedReading], list[Problem]]:
    """Sort readings by time and name them; leave out exact copies and readings without a readable time."""
    taken, problems = [], []
    for index, data in readings.items():
        moment = time_written(data["taken_at"].strip())
        if moment is None or moment.tzinfo is None:
            moment, faults = moment_of(data["taken_at"], zone, f"/readings/{index}/taken_at")
            problems += faults
        elif zone:
            moment = moment.astimezone(zone)
        mistaken = to_mmhg(data, index) if data.get("unit") == KPA else []
        problems += mistaken
        if moment is not None and not mistaken:
            name = data.get("id") or f"@{data['taken_at']}"
            taken.append(TimedReading(moment.timestamp(), moment, name, index, data))
    taken.sort(key=attrgetter("instant"))
    kept, copies = without_copies(taken)
    return kept, problems + copies + number_repeated_names(kept)


def moment_of(text: str, zone: ZoneInfo | None, at: str) -> tuple[datetime | None, list[Problem]]:
    """Read a time; `at` is its pointer. Where the instant is unknown, return None with the reason."""
    moment = time_written(text.strip())
    if moment is None:
        return None, [problem(at, "not-a-time", text)]
    if moment.tzinfo is not None:
        return (moment.astimezone(zone) if zone else moment), []
    if zone is None:
        return None, [problem(at, "no-offset", text, hint="add an offset such as +01:00, or options.time_zone")]
    return _in_zone(moment, zone, at, text)


def _in_zone(naive: datetime, zone: ZoneInfo, at: str, text: str) -> tuple[datetime | None, list[Problem]]:
    """Read a wall-clock time in its zone; an hour that clocks skip or show twice is a problem."""
    moment = naive.replace(tzinfo=zone)
    if moment.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != naive:
        return None, [problem(at, "no-such-local-time", text, hint="add the offset")]
    if moment.utcoffset() != moment.replace(fold=1).utcoffset():
        return moment, [problem(at, "ambiguous-local-time", text, hint="add the offset")]
    return moment, []


def to_mmhg(data: dict[str, Any], index: int) -> list[Problem]:
    """Convert a reading's pressures from kPa to mm[Hg] in place; return a problem where no blood pressure is that high."""
    faults = []
    for name in ("systolic", "diastolic"):
        kpa = data[name]
        data[name] = kpa * MMHG_PER_KPA
        if data[name] > HIGHEST_READABLE:
            meant = f"{data[name]:.0f} mm[Hg]"
            at = f"/readings/{index}/{name}"
            faults.append(problem(at, "unit-mistaken", kpa, meant, "was the unit mm[Hg] instead of kPa?"))
    return faults


def _by_content(reading: TimedReading) -> tuple[str, float, float, bytes]:
    """Order readings of one instant by name, then content, so that the order of the request plays no part."""
    content = orjson.dumps(reading.data, option=orjson.OPT_SORT_KEYS)
    return padded(reading.name), reading.data["systolic"], reading.data["diastolic"], content


def without_copies(taken: list[TimedReading]) -> tuple[list[TimedReading], list[Problem]]:
    """Leave out exact copies, and sort the readings of each instant by content. `taken` is sorted by time."""
    instants = [reading.instant for reading in taken]
    if not any(map(le, instants[1:], instants)):  # no two at once
        return taken, []
    kept: list[TimedReading] = []
    problems: list[Problem] = []
    for _, readings in groupby(taken, key=attrgetter("instant")):
        simultaneous = list(readings)
        if len(simultaneous) == 1:
            kept += simultaneous
            continue
        seen: set[bytes] = set()
        for reading in sorted(simultaneous, key=_by_content):
            content = orjson.dumps(reading.data | NOT_COMPARED, option=orjson.OPT_SORT_KEYS)
            if content in seen:
                problems.append(problem(f"/readings/{reading.index}", "exact-duplicate"))
            else:
                seen.add(content)
                kept.append(reading)
    return kept, problems


def number_repeated_names(kept: Sequence[TimedReading]) -> list[Problem]:
    """Number readings that share a name; return a problem for each whose name the caller gave."""
    problems, used, counts = [], set[str](), dict[str, int]()
    if len({reading.name for reading in kept}) == len(kept):
        return []
    for reading in kept:
        given, count = reading.name, counts.get(reading.name, 1)  # those below are taken
        if count > 1:
            reading.name = f"{given}#{count}"
        while reading.name in used:
            count += 1
            reading.name = f"{given}#{count}"
        used.add(reading.name)
        counts[given] = count
        if count > 1 and reading.data.get("id"):
            hint = f"this one is called '{reading.name}' in the answer"
            problems.append(problem(f"/readings/{reading.index}/id", "id-repeated", given, hint=hint))
    return problems


def local_hour(moment: datetime) -> float:
    """Return hours since local midnight by the wall clock."""
    return moment.hour + moment.minute / 60 + moment.second / 3600
