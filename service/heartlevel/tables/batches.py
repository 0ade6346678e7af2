"""Batches of the subjects about whom nothing is doubtful, the same as their requests would give."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce
from math import isnan
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

import numpy as np

from heartlevel.columns import Floats, Ints, stretches
from heartlevel.intake.batch import Batch
from heartlevel.intake.request import Choices, RefusedRequest, Request, empty_request, read_options
from heartlevel.tables.examined import Examined
from heartlevel.tables.facts import RecordedFacts
from heartlevel.tables.fields import OPTIONS, SUBJECT, name_in_table
from heartlevel.tables.readings import OrderedReadings, ordered_readings

# Readings assessed in one go: enough to share the work, few enough for the caches.
READINGS_TOGETHER = 16_384
# What these ask for is done for each request alone.
ALONE = ("strict", "also_under")
Gaps: TypeAlias = Callable[[Sequence[Request]], Sequence[float]]


@dataclass(frozen=True, slots=True)
class _Options:
    """Options read, and the subjects they are for."""

    values: Mapping[str, Any]
    zone: ZoneInfo | None
    as_of: date | None
    subjects: Ints


@dataclass(frozen=True, slots=True)
class _Clean:
    """What batches are made of."""

    examined: Examined
    readings: OrderedReadings
    options: Mapping[int, _Options]  # by subject
    facts: RecordedFacts
    choices: Choices
    unclear: frozenset[str]


def clean_batches(
    examined: Examined, choices: Choices, gaps: Gaps, unclear: frozenset[str] = frozenset()
) -> Iterator[tuple[Batch, Ints]]:
    """Yield subjects about whom nothing is doubtful, some thousand readings at a time, and their numbers.

    All that are doubtful are marked before. `choices` are those of the rule set; `gaps` tells the minutes between
    sittings for each request; `unclear` is what could not be understood of anybody, as `Request.unclear`.
    """
    if examined.doubtful.all():
        return
    by_subject: dict[int, _Options] = {}
    zones: dict[ZoneInfo | None, list[Ints]] = {}
    for options in _options(examined, choices):
        by_subject |= dict.fromkeys(options.subjects.tolist(), options)
        zones.setdefault(options.zone, []).append(options.subjects)
    readings = ordered_readings(examined, {zone: np.concatenate(subjects) for zone, subjects in zones.items()})
    clean = _Clean(examined, readings, by_subject, RecordedFacts(examined, choices.form), choices, unclear)
    subjects = np.flatnonzero(~examined.doubtful)
    ends = np.searchsorted(examined.subject_of[readings.rows], subjects, side="right")
    # Subjects without readings take room too.
    for part in stretches(ends, READINGS_TOGETHER, READINGS_TOGETHER):
        rows = slice(int(ends[part.start - 1]) if part.start else 0, int(ends[part.stop - 1]))
        yield _batch(clean, subjects[part], rows, gaps), subjects[part]


def _options(examined: Examined, choices: Choices) -> Iterator[_Options]:
    """Yield the options there are, each with the subjects they are for; those they cannot be read for are marked."""
    fields = examined.mapped.fields
    names = [name for name in examined.columns if fields[name].part == OPTIONS]
    firsts = [examined.first(examined.columns[name].codes).tolist() for name in names]
    by_codes: dict[tuple[float | None, ...], list[int]] = {}
    for subject, codes in enumerate(zip(*firsts, strict=True) if names else [()] * len(examined.subjects)):
        by_codes.setdefault(tuple(None if isnan(code) else code for code in codes), []).append(subject)
    for known, subjects in by_codes.items():
        whole: dict[str, Any] = {}
        for name, code in zip(names, known, strict=True):
            *outer, last = fields[name].path
            if code is not None:
                inner = reduce(lambda at, key: at.setdefault(key, {}), outer, whole)
                inner[last] = examined.columns[name].value_of(code)
        numbers = np.array(subjects, dtype=np.int64)
        try:
            read, zone, as_of = read_options(whole, choices)
        except RefusedRequest:
            examined.doubtful[numbers] = True
            continue
        if any(read.get(name) for name in ALONE):
            examined.doubtful[numbers] = True
        yield _Options(read, zone, as_of, numbers[~examined.doubtful[numbers]])


def _batch(clean: _Clean, subjects: Ints, rows: slice, gaps: Gaps) -> Batch:
    examined, readings = clean.examined, clean.readings
    examined_rows = readings.rows[rows]
    owners = examined.subject_of[examined_rows]
    recorded = clean.facts.of_subjects(subjects)
    requests = list(_requests(clean, subjects, recorded))
    as_of = [request.as_of.toordinal() if request.as_of else np.nan for request in requests]
    pressures = {name: values[rows] for name, values in readings.pressures.items()}
    return Batch(
        requests=requests,
        subjects=recorded | {"as_of": np.array(as_of, dtype=np.float64)},
        readings=clean.facts.of_readings(examined_rows) | pressures,
        names=readings.names[rows],
        indices=(examined_rows - examined.starts[owners]).tolist(),
        subject_of=np.searchsorted(subjects, owners),
        instant=readings.instant[rows],
        day=readings.day[rows],
        hour=readings.hour[rows],
        sitting_gap=np.array(gaps(requests), dtype=np.float64),
        period_names=clean.facts.period_names,
        device_names=clean.facts.device_names,
    )


def _requests(clean: _Clean, subjects: Ints, recorded: Mapping[str, Floats]) -> Iterator[Request]:
    """Yield what is looked at of the subjects' requests, which are without readings."""
    details = zip(subjects.tolist(), recorded["pregnant"].tolist(), recorded["days_since_birth"].tolist(), strict=True)
    changes = clean.examined.columns.get(name_in_table(SUBJECT, ("treatment_changes",)))
    first_changes = clean.examined.first(changes.codes) if changes is not None else ()
    for number, pregnant, days in details:
        subject = {"id": clean.examined.subjects[number], "pregnant": pregnant == 1}
        if changes is not None and (dates := changes.value_of(first_changes[number])):
            subject["treatment_changes"] = dates
        options = clean.options[number]
        born = {} if isnan(days) else {"days_since_birth": days}
        request = empty_request(subject | born, options.values, clean.choices, options.as_of)
        request.unclear, request.population = clean.unclear, options.values.get("population")
        yield request
