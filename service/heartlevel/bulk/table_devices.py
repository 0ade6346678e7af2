"""Devices of a table: what is said of one in any row of a subject is so in all rows of that subject and device."""

from dataclasses import replace

import numpy as np
import pandas as pd

from heartlevel.bulk.cells import Key
from heartlevel.bulk.fields import FIELDS
from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.columnwise import Column
from heartlevel.intake.table_columns import DEVICE

NAME = FIELDS["device"]


def same_device(columns: dict[Key, Column], subject_of: Ints) -> Bools:
    """Number the devices and fill in what other rows say of them; return the rows that say otherwise than the first.

    A device without a name is known by what is said of it.
    """
    details = [key for key in columns if key[0] == DEVICE]
    named = columns.get((NAME.part, NAME.path))
    if named is None and not details:
        return np.zeros(len(subject_of), dtype=bool)
    values = {key: columns[key].comparable() for key in details}
    device = _devices(named, list(values.values()), len(subject_of))
    device = np.where(device < 0, -1, pd.factorize(subject_of * (device.max() + 1) + device)[0])
    differing = np.zeros(len(subject_of), dtype=bool)
    for key, value in values.items():
        row = _first_row(device, value)
        there = row >= 0
        differing |= there & ~np.isnan(value) & (value != value[row])
        columns[key] = replace(columns[key], codes=np.where(there, columns[key].codes[row], columns[key].codes))
    names = [str(one) for one in range(int(device.max()) + 1)]
    codes = np.where(device < 0, np.nan, device.astype(np.float64))
    doubtful = np.zeros(len(codes), dtype=bool) if named is None else named.doubtful
    columns[NAME.part, NAME.path] = Column(NAME.declared, codes, doubtful, names)
    return differing


def _devices(named: Column | None, details: list[Floats], size: int) -> Ints:
    """Number the devices by their names and, where there is none, by what is said of them; −1 for none."""
    names = np.full(size, np.nan) if named is None else named.comparable()
    unnamed = np.isnan(names)
    number = np.where(unnamed, -1, np.nan_to_num(names)).astype(np.int64)
    if not unnamed.any() or not details:
        return number
    described, alike = np.zeros(size, dtype=bool), np.zeros(size, dtype=np.int64)
    for one in details:
        known = ~np.isnan(one)
        described |= known
        if not known.all() or one.min() != one.max():
            codes = pd.factorize(one)[0]  # −1 for nothing
            alike = pd.factorize(alike * (codes.max() + 2) + codes + 1)[0].astype(np.int64)
    return np.where(unnamed & described, number.max() + 1 + alike, number)


def _first_row(device: Ints, values: Floats) -> Ints:
    """Return, by row, the first row in which something is said of its device; −1 where there is none."""
    rows = np.flatnonzero(~np.isnan(values) & (device >= 0))[::-1]
    first = np.full(int(device.max()) + 2, -1, dtype=np.int64)  # the last is for rows without a device
    first[device[rows]] = rows
    found: Ints = first[device]
    return found
