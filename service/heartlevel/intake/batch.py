"""The batch: all readings of all subjects as columns, with subject, sitting and day boundaries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, steps
from heartlevel.intake.moments import local_hour
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.intake.recorded import LikeObjects, recorded_columns
from heartlevel.intake.request import Request
from heartlevel.vocabulary import SETTINGS, TAKEN_BY

AMBULATORY, OFFICE, UNATTENDED = (SETTINGS.index(name) for name in ("ambulatory", "office", "office-unattended"))
BY_NOBODY = TAKEN_BY.index("unattended")


@dataclass(frozen=True)
class Batch:
    """Readings sorted by subject and time. A *group* is one subject's readings of one setting."""

    requests: Sequence[Request]
    subjects: Mapping[str, Floats]  # recorded facts, a row a subject
    readings: Mapping[str, Floats]  # recorded facts, a row a reading
    names: Sequence[str]
    indices: Sequence[int]  # index in the request's list
    subject_of: Ints
    instant: Floats  # seconds
    day: Ints  # local calendar day, proleptic ordinal, or the person's own
    hour: Floats  # local wall clock, or hours of the person's own day
    sitting_gap: Floats  # minutes, a row a subject
    period_names: Sequence[str | None] = ()  # as readings name them: `period_number` of a reading is a name's place
    device_names: Sequence[str | None] = ()  # likewise `device_number`
    current: Bools | None = None  # readings of the period concluded on, by `concluding_on`; None for all
    clock: tuple[Ints, Floats] | None = None  # calendar days and wall clock where `day` and `hour` are the persons' own

    @property
    def size(self) -> int:
        """Number of readings."""
        return len(self.names)

    @property
    def wall_clock(self) -> Floats:
        """Each reading's hour by the local clock."""
        return self.hour if self.clock is None else self.clock[1]

    @property
    def calendar_day(self) -> Ints:
        """Each reading's day by the calendar."""
        return self.day if self.clock is None else self.clock[0]

    @cached_property
    def _starts(self) -> list[int]:
        starts: list[int] = np.searchsorted(self.subject_of, np.arange(len(self.requests) + 1)).tolist()
        return starts

    def rows_of(self, subject: int) -> slice:
        """Return the rows of a subject's readings."""
        return slice(self._starts[subject], self._starts[subject + 1])

    @cached_property
    def checks(self) -> Sequence[Mapping[str, Any]]:
        """All device checks, in the order of their subjects."""
        return [check for request in self.requests for check in request.checks]

    @property
    def groups(self) -> int:
        """Number of groups: every subject has one for each setting, empty or not."""
        return len(self.requests) * len(SETTINGS)

    @cached_property
    def setting(self) -> Ints:
        """Each reading's setting as its index in the vocabulary; the office's unattended readings have their own."""
        setting = self.readings["setting"].astype(np.int64)
        unattended = (setting == OFFICE) & (self.readings["taken_by"] == BY_NOBODY)
        return np.where(unattended, UNATTENDED, setting) if unattended.any() else setting

    @cached_property
    def group_of(self) -> Ints:
        """Each reading's group."""
        return self.subject_of * len(SETTINGS) + self.setting

    @cached_property
    def _by_group(self) -> Ints:
        return np.argsort(self.group_of, kind="stable")

    @cached_property
    def sitting_of(self) -> Ints:
        """Each reading's sitting: readings of a group, each less than the gap after the one before it.

        Ambulatory readings come all day long; each is a sitting of its own.
        """
        order = self._by_group
        gap = steps(self.instant[order]) >= self.sitting_gap[self.subject_of[order[1:]]] * 60
        return self._numbered(order, gap | (self.setting[order[1:]] == AMBULATORY))

    @cached_property
    def day_of(self) -> Ints:
        """Each reading's local day within its group, numbered over the batch."""
        # By day, not by instant: with mixed offsets a later reading may have the earlier local date.
        order = np.lexsort((self.day, self.group_of))
        day = self.day[order]
        return self._numbered(order, day[1:] != day[:-1])

    def _numbered(self, order: Ints, starts_new: Bools) -> Ints:
        numbers = np.zeros(self.size, dtype=np.int64)
        if self.size:
            group = self.group_of[order]
            numbers[order[1:]] = np.cumsum(starts_new | (group[1:] != group[:-1]))
        return numbers

    @cached_property
    def sittings(self) -> int:
        """Number of sittings."""
        return int(self.sitting_of.max()) + 1 if self.size else 0

    @cached_property
    def days(self) -> int:
        """Number of days, counted in each group."""
        return int(self.day_of.max()) + 1 if self.size else 0

    @cached_property
    def group_of_sitting(self) -> Ints:
        """Each sitting's group."""
        return self._groups_of(self.sitting_of, self.sittings)

    @cached_property
    def group_of_day(self) -> Ints:
        """Each day's group."""
        return self._groups_of(self.day_of, self.days)

    @cached_property
    def subject_of_sitting(self) -> Ints:
        """Each sitting's subject."""
        return self.group_of_sitting // len(SETTINGS)

    @cached_property
    def day_rank(self) -> Ints:
        """The rank, from 0, of each reading's day among the current days of its group; negative before them."""
        first = np.full(self.groups, self.days, dtype=np.int64)
        counted = np.arange(self.days) if self.current is None else np.unique(self.day_of[self.current])
        np.minimum.at(first, self.group_of_day[counted], counted)
        return self.day_of - first[self.group_of]

    def _groups_of(self, number_of: Ints, size: int) -> Ints:
        """Return the group of each sitting or day, given every reading's."""
        groups = np.zeros(size, dtype=np.int64)
        groups[number_of] = self.group_of
        return groups

    def concluding_on(self, current: Bools) -> "Batch":
        """Return the batch with these readings as those that are concluded on."""
        return replace(self, current=current)

    def excerpt(self, rows: Ints, subject_of: Ints, subjects: Ints) -> "Batch":
        """Return a batch of some readings as if nothing else had been sent, each excerpt a subject of its own.

        `subject_of` is the new subject of each of the rows, `subjects` the old one of each new subject. It is assessed as
        of the last day of its readings.
        """
        last = np.zeros(len(subjects), dtype=np.int64)
        np.maximum.at(last, subject_of, self.day[rows])
        kept = np.split(rows, np.searchsorted(subject_of, np.arange(1, len(subjects))))
        requests = [
            self._request_of(subject, own, day)
            for subject, own, day in zip(subjects.tolist(), kept, last.tolist(), strict=True)
        ]
        details = {name: column[subjects] for name, column in self.subjects.items()}
        return Batch(
            requests=requests,
            subjects=details | {"as_of": last.astype(np.float64)},
            readings={name: column[rows] for name, column in self.readings.items()},
            names=[self.names[row] for row in rows.tolist()],
            indices=[self.indices[row] for row in rows.tolist()],
            subject_of=subject_of,
            instant=self.instant[rows],
            day=self.day[rows],
            hour=self.hour[rows],
            sitting_gap=self.sitting_gap[subjects],
        )

    def _request_of(self, subject: int, rows: Ints, day: int) -> Request:
        request, first = self.requests[subject], self.rows_of(subject).start
        # A batch made of a table has no readings in its requests.
        readings = [request.readings[row - first] for row in rows.tolist()] if request.readings else []
        return replace(request, readings=readings, as_of=date.fromordinal(day), lost=[], problems=[])


def batch_of(requests: Sequence[Request], sitting_gaps: Sequence[float], form: Form = PLAIN_FORM) -> Batch:
    """Put the requests' readings into columns. `sitting_gaps` are minutes, one a request; `form` is what they may hold."""
    taken = [reading for request in requests for reading in request.readings]
    subject_of = np.repeat(np.arange(len(requests)), [len(request.readings) for request in requests])
    as_of = [request.as_of.toordinal() if request.as_of else None for request in requests]
    readings = LikeObjects([reading.data for reading in taken])
    periods, period_names = _periods(readings)
    devices, device_names = _devices(requests, readings.values(("device",)), subject_of, form)
    subjects = recorded_columns(form.of_subjects, LikeObjects([request.subject for request in requests]))
    return Batch(
        requests=requests,
        subjects=subjects | {"as_of": np.array(as_of, dtype=np.float64)},
        readings=recorded_columns(form.of_readings, readings) | devices | periods,
        names=[reading.name for reading in taken],
        indices=[reading.index for reading in taken],
        subject_of=subject_of.astype(np.int64),
        instant=np.array([reading.instant for reading in taken], dtype=np.float64),
        day=np.array([reading.local.toordinal() for reading in taken], dtype=np.int64),
        hour=np.array([local_hour(reading.local) for reading in taken], dtype=np.float64),
        sitting_gap=np.array(sitting_gaps, dtype=np.float64),
        period_names=period_names,
        device_names=device_names,
    )


def _periods(readings: LikeObjects) -> tuple[dict[str, Floats], Sequence[str]]:
    """Return the number of the period that each reading names, NaN for none, and the names."""
    named = readings.values(("period",)) or [None] * readings.size
    number = {name: float(at) for at, name in enumerate(dict.fromkeys(filter(None, named)))}
    return {"period_number": np.array([number.get(name) for name in named], dtype=np.float64)}, list(number)


def _devices(
    requests: Sequence[Request], named: Sequence[str | None] | None, subject_of: Ints, form: Form
) -> tuple[dict[str, Floats], Sequence[str]]:
    """Return the facts of each reading's device, and the devices' names. Each device is read once, not once a reading.

    `named` are the names that readings have for their devices, None where none has.
    """
    described: list[Mapping[str, Any]] = [{}]  # the first row is for readings without a known device
    row_of: dict[tuple[int, str | None], int] = {}
    for subject, request in enumerate(requests):
        row_of |= {(subject, name): row for row, name in enumerate(request.devices, start=len(described))}
        described += request.devices.values()
    used = list(zip(subject_of.tolist(), named or [None] * len(subject_of), strict=True))
    rows = np.array([row_of.get(device, 0) for device in used], dtype=np.int64)
    columns = {name: column[rows] for name, column in recorded_columns(form.of_devices, LikeObjects(described)).items()}
    # Of every device named, described or not.
    number = {device: float(at) for at, device in enumerate(dict.fromkeys(device for device in used if device[1]))}
    columns["device_number"] = np.array([number.get(device) for device in used], dtype=np.float64)
    return columns, [str(name) for _, name in number]
