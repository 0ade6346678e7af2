"""Readings of sittings followed one after the other, in the order of their rows, which is that of time."""

from heartlevel.kernels.arrays import Floats, Ints, Marks


def follow_pressures(
    sitting_of: Ints, systolic: Floats, diastolic: Floats, count: Floats, first: Floats, second: Floats, last: Floats,
    falls: Marks, rises: Marks,
) -> None:  # fmt: skip
    """Fill the number of each sitting's readings, its first, second and last, and whether systolic steadily falls or rises.

    `first`, `second` and `last` have a row a pressure and are NaN when handed over, as what is not there stays; `falls`
    and `rises` are 1.
    """
    for row in range(sitting_of.shape[0]):
        sitting = sitting_of[row]
        count[sitting] += 1
        if count[sitting] == 1:
            first[0, sitting], first[1, sitting] = systolic[row], diastolic[row]
        else:
            if count[sitting] == 2:
                second[0, sitting], second[1, sitting] = systolic[row], diastolic[row]
            if systolic[row] >= last[0, sitting]:
                falls[sitting] = 0
            if systolic[row] <= last[0, sitting]:
                rises[sitting] = 0
        last[0, sitting], last[1, sitting] = systolic[row], diastolic[row]


def find_pairs(chosen: Marks, sitting_of: Ints, pair: Ints) -> None:
    """Fill the rows of each sitting's first and second chosen reading; `pair` is −1 when handed over, as for none."""
    for row in range(sitting_of.shape[0]):
        if chosen[row]:
            sitting = sitting_of[row]
            if pair[0, sitting] < 0:
                pair[0, sitting] = row
            elif pair[1, sitting] < 0:
                pair[1, sitting] = row


def find_second_extremes(
    chosen: Marks, sitting_of: Ints, values: Floats, highest: Floats, second_highest: Floats, lowest: Floats,
    second_lowest: Floats,
) -> None:  # fmt: skip
    """Fill the two highest and the two lowest known values of each sitting's chosen readings, which may be alike.

    All are NaN when handed over, as what is not there stays: no comparison with NaN holds.
    """
    for row in range(sitting_of.shape[0]):
        value = values[row]
        if chosen[row] and value == value:
            sitting = sitting_of[row]
            if not value <= highest[sitting]:
                second_highest[sitting] = highest[sitting]
                highest[sitting] = value
            elif not value <= second_highest[sitting]:
                second_highest[sitting] = value
            if not value >= lowest[sitting]:
                second_lowest[sitting] = lowest[sitting]
                lowest[sitting] = value
            elif not value >= second_lowest[sitting]:
                second_lowest[sitting] = value


def find_last_inflations(subject_of: Ints, limb_of: Ints, last: Ints, before: Ints) -> None:
    """Fill the row of the person's last reading before each one on the same limb, or on one not recorded; −1 for none.

    Limbs are numbered from 1, and 0 is not recorded; `last` is room for a number a limb.
    """
    for row in range(subject_of.shape[0]):
        if row == 0 or subject_of[row] != subject_of[row - 1]:
            for limb in range(last.shape[0]):
                last[limb] = -1
        before[row] = max(last[0], last[limb_of[row]])
        if limb_of[row] == 0:
            for limb in range(1, last.shape[0]):
                before[row] = max(before[row], last[limb])
        last[limb_of[row]] = row
