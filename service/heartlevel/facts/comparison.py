"""Facts of a series that compare its readings: both arms, first and second, copied values, devices, 80 % intervals."""

from functools import partial

import numpy as np

from heartlevel.columns import (
    Bools,
    Floats,
    Ints,
    among,
    count_by,
    extreme_by,
    first_case,
    mean_by,
    run_starts,
    sum_by,
)
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.device import Checks
from heartlevel.facts.series import Subjects
from heartlevel.kernels import sittings
from heartlevel.statistics.agreement import AGREES, DISAGREES
from heartlevel.statistics.procedure import REPLACE, USABLE
from heartlevel.statistics.selection import HOME, UNUSABLE
from heartlevel.statistics.uncertainty import quantile_of_days
from heartlevel.vocabulary import BODY_POSITIONS, MMHG, PRESSURES, SETTINGS, SIDES, SITES

ARMS = tuple(SITES.index(f"{side}-upper-arm") for side in SIDES)
NOT_SEATED = tuple(BODY_POSITIONS.index(name) for name in ("standing", "lying"))
NONE = -1
QUANTILE_80 = 0.9  # leaves a tenth beyond either end of an 80 % interval
_enter = partial(derived, "series", asked=False)


def _right_minus_left(facts: Subjects) -> Floats:
    """Return each sitting's mean systolic pressure of the right upper arm less the left's; NaN if one was not measured."""
    batch, arms = facts.source.batch, facts.once(of_each_arm)
    if arms is None:
        return np.full(batch.sittings, np.nan)
    systolic = batch.readings["systolic"]
    left, right = (mean_by(batch.sitting_of[rows], batch.sittings, systolic[rows]) for rows in arms)
    return right - left


def of_each_arm(facts: Subjects) -> list[Bools] | None:
    """Mark the readings that arms are compared by: a fall on standing is not to be taken for a difference of the arms.

    None where only one arm, or none, was measured in the whole batch.
    """
    readings = facts.source.batch.readings
    measured = [readings["site"] == arm for arm in ARMS]
    if not all(rows.any() for rows in measured):  # most requests have one side only
        return None
    usable = ~among(readings["body_position"], NOT_SEATED) & (facts.source.reliability != UNUSABLE)
    return [usable & rows for rows in measured]


def _arm_pairs(facts: Subjects) -> Floats:
    """Count the readings of the arm that has fewer, sitting by sitting."""
    batch, arms = facts.source.batch, facts.once(of_each_arm)
    if arms is None:
        return np.zeros(len(batch.requests))
    pairs = np.minimum(*(count_by(batch.sitting_of, batch.sittings, rows) for rows in arms))
    return sum_by(batch.subject_of_sitting, len(batch.requests), pairs)


def _count_known(facts: Subjects, values: Floats) -> Floats:
    """Count each subject's sittings with a known value."""
    return count_by(facts.source.batch.subject_of_sitting, len(facts.source.batch.requests), ~np.isnan(values))


def _mean_of_sittings(facts: Subjects, values: Floats) -> Floats:
    batch, known = facts.source.batch, ~np.isnan(values)
    return mean_by(batch.subject_of_sitting[known], len(batch.requests), values[known])


_enter("arm_sittings", "sittings with usable readings, not standing or lying, of both upper arms",
       "Sittings in which both arms were measured",
       lambda facts: _count_known(facts, facts.once(_right_minus_left)), unit="1")  # fmt: skip
_enter("arm_pairs", "sum over arm_sittings of the readings of the arm that has fewer",
       "How often both arms were measured", _arm_pairs, unit="1")  # fmt: skip
_enter("right_minus_left_systolic", "mean over arm_sittings of (mean systolic of the right arm − of the left)",
       "Systolic difference of the arms; negative where the left is higher",
       lambda facts: _mean_of_sittings(facts, facts.once(_right_minus_left)), unit=MMHG)  # fmt: skip
_enter("arm_systolic_difference", "|right_minus_left_systolic|", "Size of the systolic difference of the arms",
       lambda facts: np.abs(facts["right_minus_left_systolic"]), unit=MMHG)  # fmt: skip


@fact("series", "sign of right_minus_left_systolic; unknown for none", names=SIDES, asked=False)
def higher_arm(facts: Subjects) -> Floats:
    """Arm with the higher systolic pressure."""
    difference = facts["right_minus_left_systolic"]
    return first_case([(difference > 0, SIDES.index("right")), (difference < 0, SIDES.index("left"))], np.nan)


@fact("series", "a side is in avoid_arms; unknown where the list was not sent", flag=True, asked=False)
def an_arm_to_avoid(facts: Subjects) -> Floats:
    """One of the arms is not to be measured, so that arms cannot be compared."""
    return np.fmax(facts["avoid_left"], facts["avoid_right"])  # of a list read in part, one side may be known


@fact("series", "sides that are the only one with a usable reading in some home sitting", unit="1", asked=False)
def home_sides(facts: Subjects) -> Floats:
    """Sides used from one home sitting to the next; sittings that compare both sides are left out."""
    batch, side = facts.source.batch, facts.source.readings["side"]
    left, right = (
        count_by(batch.sitting_of, batch.sittings, facts.source.rows(HOME) & (side == code)) > 0
        for code in range(len(SIDES))
    )
    subject, size = batch.subject_of_sitting, len(batch.requests)
    alone = [count_by(subject, size, only) > 0 for only in (left & ~right, right & ~left)]
    used = np.add(*alone, dtype=np.float64)
    return np.where(used > 0, used, np.nan)


@fact("series", "most usable readings of a setting in a row with one systolic and one diastolic value", unit="1",
      asked=False)  # fmt: skip
def longest_same_run(facts: Subjects) -> Floats:
    """Readings in a row with the very same pressures."""
    batch = facts.source.batch
    order = np.argsort(batch.group_of, kind="stable")
    rows = order[facts.source.usable[order]]
    starts = run_starts(batch.group_of[rows], batch.readings["systolic"][rows], batch.readings["diastolic"][rows])
    length = count_by(np.cumsum(starts) - 1, int(starts.sum()))
    return extreme_by(batch.subject_of[rows][starts], len(batch.requests), length, largest=True)


def first_home_pairs(facts: Subjects) -> tuple[Ints, Bools]:
    """Return the rows of each home sitting's first two usable readings, and whether limb and posture are alike in both."""
    batch = facts.source.batch
    pair = np.full((2, batch.sittings), NONE)
    sittings.find_pairs(facts.source.rows(HOME).view(np.uint8), batch.sitting_of, pair)
    alike = pair[1] >= 0
    for name in ("site", "body_position"):
        first, second = batch.readings[name][pair]
        alike &= (first == second) | np.isnan(first) | np.isnan(second)
    return pair, alike


def _first_minus_second(facts: Subjects) -> Floats:
    """Return first − second systolic of each home sitting; unknown where the two cannot be compared."""
    pair, alike = facts.once(first_home_pairs)
    first, second = facts.source.batch.readings["systolic"][pair]
    return np.where(alike, first - second, np.nan)


_enter("home_repeated_sittings",
       "home sittings with two usable readings, the first two not of different sites or body positions",
       "Home sittings whose first two readings can be held against each other",
       lambda facts: _count_known(facts, facts.once(_first_minus_second)), unit="1")  # fmt: skip
_enter("home_first_minus_second_systolic", "mean over home_repeated_sittings of (first systolic − second systolic)",
       "How far first readings at home lie above second ones",
       lambda facts: _mean_of_sittings(facts, facts.once(_first_minus_second)), unit=MMHG)  # fmt: skip
_enter("days_since_home_reading", "as_of − last local day with a usable home reading",
       "Days from the last home reading to the assessment",
       lambda facts: facts["as_of"] - facts.source.last_day(HOME), unit="d")  # fmt: skip


def bias_by_device(facts: Subjects, quantity: int | None, kept: Bools) -> Floats:
    """Return the mean, over the readings kept, of what checks of each one's device found, as far as any decided.

    With a `quantity`, the bias of that pressure in a check that disagrees; with None, whether a check disagrees. Of the
    checks of one device, the worst counts.
    """
    batch = facts.source.batch
    if not batch.checks:
        return np.full(len(batch.requests), np.nan)
    of_reading = np.full(batch.size, np.nan)
    checks: Checks = facts.source.devices.source
    verdict, stepwise = checks.agreement.verdict, checks.procedure.verdict
    disagrees = (verdict == DISAGREES) | (stepwise == REPLACE)
    decided = disagrees | (((verdict == AGREES) | (stepwise == USABLE)) & (quantity is None))
    figures = disagrees.astype(np.float64) if quantity is None else checks.agreement.bias[quantity]
    worst: dict[int, dict[str | None, float]] = {}  # by subject and device
    for row in np.flatnonzero(decided).tolist():
        devices = worst.setdefault(int(checks.subject_of[row]), {})
        name = batch.checks[row]["device"]
        devices[name] = max(devices.get(name, 0.0), float(figures[row]), key=abs)
    for subject, devices in worst.items():
        names = [reading.data.get("device") for reading in batch.requests[subject].readings]
        of_reading[batch.rows_of(subject)] = [devices.get(name, np.nan) for name in names]
    return facts.source.mean_over(kept, of_reading)


_enter("home_disagreeing_device_share",
       "home readings that the protocol keeps with a device whose check_verdict is disagrees or check_procedure replace / "
       "those with one that either of them decides on",
       "Share of the averaged home readings that a device took which disagreed with its reference",
       lambda facts: bias_by_device(facts, None, facts.source.kept_at_home), unit="1", share=True)  # fmt: skip
derived_both("series", "home_device_{}_bias", "mean check_{}_bias over the home readings kept with a device that disagrees",
             "{} bias of the device that disagreed and took home readings",
             lambda facts, pressure: bias_by_device(facts, PRESSURES.index(pressure), facts.source.kept_at_home),
             unit=MMHG, asked=False)  # fmt: skip


@fact("series", "devices named by the home readings that the protocol keeps", unit="1", asked=False)
def home_kept_devices(facts: Subjects) -> Floats:
    """Devices in the home average."""
    batch, number = facts.source.batch, facts.source.readings["device_number"]
    named = facts.source.kept_at_home & ~np.isnan(number)
    numbers = 1 + int(number[named].max(initial=0))
    used = np.unique(batch.subject_of[named] * numbers + number[named].astype(np.int64))
    count = count_by(used // numbers, len(batch.requests))
    return np.where(count > 0, count, np.nan)


def _half_intervals80(facts: Subjects) -> Floats:
    """Return half the width of the 80 % intervals, a row a quantity. By so many days each is looked up."""
    averages, row = facts.source.averages, facts.source.averages.row("protocol")
    home = slice(HOME, None, len(SETTINGS))
    return quantile_of_days(averages.day_count[:, row, home], QUANTILE_80) * averages.standard_error[:, row, home]


def _end_of_interval80(facts: Subjects, quantity: int, direction: int) -> Floats:
    averages = facts.source.averages
    centre = averages.day_mean[quantity, averages.row("protocol"), HOME :: len(SETTINGS)]
    end: Floats = centre + direction * facts.once(_half_intervals80)[quantity]
    return end


for _quantity, _pressure in enumerate(PRESSURES):
    for _end, _name, _sign, _direction in (("low", "Lower", "−", -1), ("high", "Upper", "+", 1)):
        _enter(f"home_{_pressure}_{_end}80",
               f"mean of the kept home days' means {_sign} t(0.9, days − 1) × its standard error",
               f"{_name} end of the 80 % interval of the {_pressure} home average",
               _end_of_interval80, _quantity, _direction, unit=MMHG)  # fmt: skip
