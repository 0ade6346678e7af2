"""Last digits counted: how many of a person's values are multiples of a few steps."""

from heartlevel.kernels.arrays import Floats, Ints, Marks


def count_multiples(
    chosen: Marks, subject_of: Ints, systolic: Floats, diastolic: Floats, steps: Ints, whole: Marks, count: Floats,
    multiples: Floats, both: Floats,
) -> None:  # fmt: skip
    """Mark the chosen readings of whole pressures, and count each subject's, and those that are multiples of each step.

    Axes of `multiples`: step, pressure, subject; `both` has the readings with both pressures, without the axis of those.
    All counts are 0 when handed over.
    """
    for row in range(subject_of.shape[0]):
        if chosen[row] and systolic[row] % 1 == 0 and diastolic[row] % 1 == 0:
            subject = subject_of[row]
            upper, lower = int(systolic[row]), int(diastolic[row])
            whole[row] = 1
            count[subject] += 1
            for step in range(steps.shape[0]):
                of_upper, of_lower = upper % steps[step] == 0, lower % steps[step] == 0
                multiples[step, 0, subject] += of_upper
                multiples[step, 1, subject] += of_lower
                both[step, subject] += of_upper and of_lower
