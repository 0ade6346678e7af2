"""Facts of a series that compare its readings: both arms, first and second, copied values, devices, 80 % intervals."""

import numpy as np
from scipy.special import stdtrit

from heartlevel.columns import Bools, Floats, Ints, count_by, extreme_by, mean_by, rank_within, run_starts
from heartlevel.facts.catalogue import fact
from heartlevel.facts.device import Checks, columns_of_devices
from heartlevel.facts.series import Subjects
from heartlevel.statistics.agreement import AGREES, DISAGREES
from heartlevel.statistics.procedure import REPLACE, USABLE
from heartlevel.statistics.selection import HOME, KEPT, UNUSABLE
from heartlevel.statistics.uncertainty import FEWEST_DAYS
from heartlevel.vocabulary import BODY_POSITIONS, MMHG, SETTINGS, SIDES, SITES

ARMS = tuple(SITES.index(f"{side}-upper-arm") for side in SIDES)
NOT_SEATED = tuple(BODY_POSITIONS.index(name) for name in ("standing", "lying"))
NONE = -1
QUANTILE_80 = 0.9  # leaves a tenth beyond either end of an 80 % interval


def _arm_means(facts: Subjects) -> tuple[Floats, Floats]:
    """Return each sitting's mean systolic pressure of the left and of the right upper arm, NaN where not measured."""
    batch = facts.source.batch
    if not all((batch.readings["site"] == arm).any() for arm in ARMS):  # most requests have one side only
        unmeasured = np.full(batch.sittings, np.nan)
        return unmeasured, unmeasured
    # A fall on standing is not to be taken for a difference of the arms.
    usable = ~np.isin(batch.readings["body_position"], NOT_SEATED) & (facts.source.reliability != UNUSABLE)
    left, right = (_mean_by_sitting(facts, usable & (batch.readings["site"] == arm)) for arm in ARMS)
    return left, right


def _mean_by_sitting(facts: Subjects, rows: Bools) -> Floats:
    batch = facts.source.batch
    return mean_by(batch.sitting_of[rows], batch.sittings, batch.readings["systolic"][rows])


@fact("series", "sittings with usable readings, not standing or lying, of both upper arms", unit="1", asked=False)
def arm_sittings(facts: Subjects) -> Floats:
    """Sittings in which both arms were measured."""
    left, right = facts.once(_arm_means)
    return count_by(facts.source.batch.subject_of_sitting, len(facts.source.batch.requests), ~np.isnan(right - left))


@fact("series", "mean over arm_sittings of (mean systolic of the right arm − of the left)", unit=MMHG, asked=False)
def right_minus_left_systolic(facts: Subjects) -> Floats:
    """Systolic difference of the arms; negative where the left is higher."""
    left, right = facts.once(_arm_means)
    return _mean_over_sittings(facts, right - left)


def _mean_over_sittings(facts: Subjects, values: Floats) -> Floats:
    batch, known = facts.source.batch, ~np.isnan(values)
    return mean_by(batch.subject_of_sitting[known], len(batch.requests), values[known])


@fact("series", "|right_minus_left_systolic|", unit=MMHG, asked=False)
def arm_systolic_difference(facts: Subjects) -> Floats:
    """Size of the systolic difference of the arms."""
    return np.abs(facts["right_minus_left_systolic"])


@fact("series", "sign of right_minus_left_systolic; unknown for none", names=SIDES, asked=False)
def higher_arm(facts: Subjects) -> Floats:
    """Arm with the higher systolic pressure."""
    difference = facts["right_minus_left_systolic"]
    left, right = (SIDES.index(side) for side in ("left", "right"))
    return np.select([difference > 0, difference < 0], [right, left], np.nan)


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
    rows = order[(facts.source.reliability != UNUSABLE)[order]]
    starts = run_starts(batch.group_of[rows], batch.readings["systolic"][rows], batch.readings["diastolic"][rows])
    length = count_by(np.cumsum(starts) - 1, int(starts.sum()))
    return extreme_by(batch.subject_of[rows][starts], len(batch.requests), length, largest=True)


def first_home_pairs(facts: Subjects) -> tuple[Ints, Bools]:
    """Return the rows of each home sitting's first two usable readings, and whether limb and posture are alike in both."""
    batch = facts.source.batch
    rows = np.flatnonzero(facts.source.rows(HOME))
    rank = rank_within(batch.sitting_of[rows], batch.sittings)
    pair = np.full((2, batch.sittings), NONE)
    for nth in (0, 1):
        pair[nth, batch.sitting_of[rows[rank == nth]]] = rows[rank == nth]
    alike = pair.min(axis=0) >= 0
    for name in ("site", "body_position"):
        first, second = batch.readings[name][pair]
        alike &= (first == second) | np.isnan(first) | np.isnan(second)
    return pair, alike


def _first_minus_second(facts: Subjects) -> Floats:
    """Return first − second systolic of each home sitting; unknown where the two cannot be compared."""
    pair, alike = facts.once(first_home_pairs)
    first, second = facts.source.batch.readings["systolic"][pair]
    return np.where(alike, first - second, np.nan)


@fact("series", "home sittings with two usable readings, the first two not of different sites or body positions", unit="1",
      asked=False)  # fmt: skip
def home_repeated_sittings(facts: Subjects) -> Floats:
    """Home sittings whose first two readings can be held against each other."""
    repeated = ~np.isnan(facts.once(_first_minus_second))
    return count_by(facts.source.batch.subject_of_sitting, len(facts.source.batch.requests), repeated)


@fact("series", "mean over home_repeated_sittings of (first systolic − second systolic)", unit=MMHG, asked=False)
def home_first_minus_second_systolic(facts: Subjects) -> Floats:
    """How far first readings at home lie above second ones."""
    return _mean_over_sittings(facts, facts.once(_first_minus_second))


@fact("series", "as_of − last local day with a usable home reading", unit="d", asked=False)
def days_since_home_reading(facts: Subjects) -> Floats:
    """Days from the last home reading to the assessment."""
    batch, rows = facts.source.batch, facts.source.rows(HOME)
    day = batch.day[rows].astype(np.float64)
    return facts["as_of"] - extreme_by(batch.subject_of[rows], len(batch.requests), day, largest=True)


def _kept(facts: Subjects) -> Bools:
    """Mark the home readings that the protocol's average takes."""
    kept: Bools = facts.source.rows(HOME) & (facts.source.selection.left_out == KEPT)
    return kept


def _device_checks(facts: Subjects) -> Checks:
    return columns_of_devices(facts.source.batch, facts.source.protocols).source


def _by_device(facts: Subjects, quantity: int | None) -> Floats:
    """Return, for each reading, what the checks of its device found; unknown where no check decided.

    With a `quantity`, the bias of that pressure in a check that disagrees; with None, whether a check disagrees. Of the
    checks of one device, the worst counts.
    """
    batch = facts.source.batch
    of_reading = np.full(batch.size, np.nan)
    if not batch.checks:
        return of_reading
    checks = facts.once(_device_checks)
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
    return of_reading


@fact("series", "home readings that the protocol keeps with a device whose check_verdict is disagrees or check_procedure "
      "replace / those with one that either of them decides on", unit="1", share=True, asked=False)  # fmt: skip
def home_disagreeing_device_share(facts: Subjects) -> Floats:
    """Share of the averaged home readings that a device took which disagreed with its reference."""
    return facts.source.share(_kept(facts), _by_device(facts, None))


@fact("series", "mean check_systolic_bias over the home readings kept with a device that disagrees", unit=MMHG,
      asked=False)  # fmt: skip
def home_device_systolic_bias(facts: Subjects) -> Floats:
    """Systolic bias of the device that disagreed and took home readings."""
    return facts.source.share(_kept(facts), _by_device(facts, 0))


@fact("series", "mean check_diastolic_bias over the home readings kept with a device that disagrees", unit=MMHG,
      asked=False)  # fmt: skip
def home_device_diastolic_bias(facts: Subjects) -> Floats:
    """Diastolic bias of the device that disagreed and took home readings."""
    return facts.source.share(_kept(facts), _by_device(facts, 1))


@fact("series", "devices named by the home readings that the protocol keeps", unit="1", asked=False)
def home_kept_devices(facts: Subjects) -> Floats:
    """Devices in the home average."""
    batch, number = facts.source.batch, facts.source.readings["device_number"]
    named = _kept(facts) & ~np.isnan(number)
    numbers = 1 + int(number[named].max(initial=0))
    used = np.unique(batch.subject_of[named] * numbers + number[named].astype(np.int64))
    count = count_by(used // numbers, len(batch.requests))
    return np.where(count > 0, count, np.nan)


def _end_of_interval80(facts: Subjects, quantity: int, direction: int) -> Floats:
    averages = facts.source.averages
    cells = (quantity, averages.row("protocol"), slice(HOME, None, len(SETTINGS)))
    days = averages.day_count[cells]
    half = stdtrit(np.where(days >= FEWEST_DAYS, days - 1, np.nan), QUANTILE_80) * averages.standard_error[cells]
    end: Floats = averages.day_mean[cells] + direction * half
    return end


@fact("series", "mean of the kept home days' means − t(0.9, days − 1) × its standard error", unit=MMHG, asked=False)
def home_systolic_low80(facts: Subjects) -> Floats:
    """Lower end of the 80 % interval of the systolic home average."""
    return _end_of_interval80(facts, 0, -1)


@fact("series", "mean of the kept home days' means + t(0.9, days − 1) × its standard error", unit=MMHG, asked=False)
def home_systolic_high80(facts: Subjects) -> Floats:
    """Upper end of the 80 % interval of the systolic home average."""
    return _end_of_interval80(facts, 0, 1)


@fact("series", "mean of the kept home days' means − t(0.9, days − 1) × its standard error", unit=MMHG, asked=False)
def home_diastolic_low80(facts: Subjects) -> Floats:
    """Lower end of the 80 % interval of the diastolic home average."""
    return _end_of_interval80(facts, 1, -1)


@fact("series", "mean of the kept home days' means + t(0.9, days − 1) × its standard error", unit=MMHG, asked=False)
def home_diastolic_high80(facts: Subjects) -> Floats:
    """Upper end of the 80 % interval of the diastolic home average."""
    return _end_of_interval80(facts, 1, 1)
