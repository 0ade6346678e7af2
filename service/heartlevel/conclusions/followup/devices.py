"""What each device of a person measured, and how far two of them differ."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Ints, steps
from heartlevel.conclusions.followup.pulse import RESTING
from heartlevel.statistics.followup.devices import PairedDevices, paired_devices
from heartlevel.vocabulary import PRESSURES, SETTINGS

BY_SITTING, BY_DAY = PAIRED_BY = ("sitting", "day")
MOST_COMPARED = 20  # devices of a side, each with each: of a thousand there would be half a million differences


@dataclass(frozen=True, slots=True)
class DeviceAverage:
    """The mean of a device's usable readings of one side, mm[Hg]."""

    device: str
    side: str
    readings: int
    days: int
    mean: Sequence[float]  # systolic, diastolic


@dataclass(frozen=True, slots=True)
class DeviceDifference:
    """Two devices of one side: the first less the second."""

    side: str
    devices: tuple[str, str]
    paired_by: str | None  # None without a pair
    paired: PairedDevices


@dataclass(frozen=True, slots=True)
class DevicesCompared:
    """The averages of each device, and the differences of each two."""

    averages: Sequence[DeviceAverage]
    differences: Sequence[DeviceDifference]


def devices_by_subject(assessment: Assessment) -> dict[int, DevicesCompared]:
    """Return what each of several devices measured, by subject; only who used several is there."""
    batch, number = assessment.batch, assessment.batch.readings["device_number"]
    known = np.flatnonzero(~np.isnan(number))
    owner = batch.subject_of[known]
    changes = (steps(number[known]) != 0) & (steps(owner) == 0)
    return {subject: _compared(assessment, subject) for subject in dict.fromkeys(owner[1:][changes].tolist())}


def _compared(assessment: Assessment, subject: int) -> DevicesCompared:
    """Return what each device of a subject measured in the latest period, on the sides that several measured.

    Compared are those with most readings.
    """
    averages, differences = list[DeviceAverage](), list[DeviceDifference]()
    for side, by_device in _by_side(assessment, subject):
        averages += [_average(assessment, side, name, rows) for name, rows in by_device.items()]
        differences += [
            _difference(assessment, side, (first, second), (by_device[first], by_device[second]))
            for first, second in combinations(_most_used(by_device), 2)
        ]
    return DevicesCompared(averages, differences)


def _by_side(assessment: Assessment, subject: int) -> Iterator[tuple[str, Mapping[str, Ints]]]:
    """Yield each side that several named devices measured, with the rows of each, by name."""
    batch, rows = assessment.batch, assessment.batch.rows_of(subject)
    numbers, usable = batch.readings["device_number"][rows], assessment.selection.averages["all"][rows]
    for side, setting in RESTING.items():
        mine = usable & (batch.setting[rows] == SETTINGS.index(setting)) & ~np.isnan(numbers)
        by_device: dict[str, list[int]] = {}
        for row in np.flatnonzero(mine).tolist():
            by_device.setdefault(str(batch.device_names[int(numbers[row])]), []).append(rows.start + row)
        if len(by_device) > 1:
            yield side, {name: np.array(by_device[name]) for name in sorted(by_device)}


def _most_used(by_device: Mapping[str, Ints]) -> list[str]:
    """Return the devices with most readings, as many as are compared, by name."""
    return sorted(sorted(by_device, key=lambda name: (-len(by_device[name]), name))[:MOST_COMPARED])


def _average(assessment: Assessment, side: str, device: str, rows: Ints) -> DeviceAverage:
    readings = assessment.batch.readings
    mean = [float(readings[name][rows].mean()) for name in PRESSURES]
    return DeviceAverage(device, side, len(rows), len(np.unique(assessment.batch.day[rows])), mean)


def _difference(
    assessment: Assessment, side: str, devices: tuple[str, str], rows: tuple[Ints, Ints]
) -> DeviceDifference:  # fmt: skip
    batch = assessment.batch
    pressures = [np.stack([batch.readings[name][own] for name in PRESSURES]) for own in rows]
    by_sitting, by_day = (
        paired_devices((numbers[rows[0]], pressures[0]), (numbers[rows[1]], pressures[1]))
        for numbers in (batch.sitting_of, batch.day_of)
    )
    if by_sitting.pairs:
        return DeviceDifference(side, devices, BY_SITTING, by_sitting)
    return DeviceDifference(side, devices, BY_DAY if by_day.pairs else None, by_day)
