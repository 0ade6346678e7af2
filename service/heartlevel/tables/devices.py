"""Devices of a table: what is said of one in any row of a subject is so in all rows of that subject and device."""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.tables.cells import numbered
from heartlevel.tables.field_columns import FieldColumn, first_rows
from heartlevel.tables.fields import DEVICE, TableFields

_NAMELESS = re.compile("device-[0-9a-f]{12}")


def describe_devices(columns: dict[str, FieldColumn], fields: TableFields, subject_of: Ints) -> Bools:
    """Number the devices and fill in what other rows say of them; return the rows that say otherwise than the first.

    A device without a name is known by what is said of it.
    """
    details = [name for name in columns if fields[name].part == DEVICE]
    named = columns.get(DEVICE)
    if not len(subject_of) or (named is None and not details):
        return np.zeros(len(subject_of), dtype=bool)
    values = {name: columns[name].comparable() for name in details}
    device = _devices(named, list(values.values()), len(subject_of))
    device = np.where(device < 0, -1, numbered(subject_of * (device.max() + 1) + device))
    differing = np.zeros(len(subject_of), dtype=bool)
    for name, value in values.items():
        row = first_rows(device, int(device.max()) + 2, value)[device]  # the last is for rows without a device
        there = row >= 0
        differing |= there & ~np.isnan(value) & (value != value[row])
        columns[name] = replace(columns[name], codes=np.where(there, columns[name].codes[row], columns[name].codes))
    names = _names(named, device)
    codes = np.where(device < 0, np.nan, device.astype(np.float64))
    doubtful = np.zeros(len(codes), dtype=bool) if named is None else named.doubtful
    columns[DEVICE] = FieldColumn(fields[DEVICE].declared, codes, doubtful, names)
    return differing


def has_name(device: str) -> bool:
    """Say whether a device is called as its readings' sender calls it, not for want of a name."""
    return _NAMELESS.fullmatch(device) is None


def nameless(mark: str) -> str:
    """Return what a device without a name is called, by a mark of twelve hexadecimal digits."""
    return f"device-{mark}"


def _names(named: FieldColumn | None, device: Ints) -> list[str]:
    """Return what each numbered device is called."""
    size = int(device.max()) + 1
    names = [nameless(f"{number:012x}") for number in range(size)]
    if named is not None:
        rows = first_rows(device, size + 1, named.codes)[:size]  # the last is for rows without a device
        for number in np.flatnonzero(rows >= 0).tolist():
            names[number] = str(named.value_of(named.codes[rows[number]]))
    return names


def _devices(named: FieldColumn | None, details: Sequence[Floats], size: int) -> Ints:
    """Number the devices by their names and, where there is none, by what is said of them; −1 for none."""
    names = np.full(size, np.nan) if named is None else named.comparable()
    unnamed = np.isnan(names)
    number = np.where(unnamed, -1, np.nan_to_num(names)).astype(np.int64)
    if not unnamed.any() or not details:
        return number
    described, alike = np.zeros(size, dtype=bool), np.zeros(size, dtype=np.int64)
    for detail in details:
        known = ~np.isnan(detail)
        described |= known
        if not known.all() or detail.min() != detail.max():
            codes = numbered(detail)  # −1 for nothing
            alike = numbered(alike * (codes.max() + 2) + codes + 1)
    return np.where(unnamed & described, number.max() + 1 + alike, number)
