"""Devices of a table: what is said of one in any row of a subject is so in all rows of that subject and device."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.tables.cells import numbered
from heartlevel.tables.field_columns import FieldColumn, first_rows
from heartlevel.tables.fields import DEVICE, TableFields


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
    names = [str(number) for number in range(int(device.max()) + 1)]
    codes = np.where(device < 0, np.nan, device.astype(np.float64))
    doubtful = np.zeros(len(codes), dtype=bool) if named is None else named.doubtful
    columns[DEVICE] = FieldColumn(fields[DEVICE].declared, codes, doubtful, names)
    return differing


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
