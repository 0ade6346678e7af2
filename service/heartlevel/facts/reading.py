"""Facts of one reading, derived from what was recorded with it."""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, steps
from heartlevel.facts.catalogue import DERIVED, fact
from heartlevel.intake.batch import Batch
from heartlevel.vocabulary import MMHG, MMHG_PER_KPA, PASCAL_PER_MMHG, PLACEMENTS, SIDES, SITES

Readings: TypeAlias = Columns[Batch]

UPPER_ARM, WRIST = PLACEMENTS.index("upper-arm"), PLACEMENTS.index("wrist")
BLOOD_DENSITY = 1060.0  # kg/m3; published figures run from 1050 to 1065 (quoted from memory)
GRAVITY = 9.80665  # m/s2, standard acceleration of free fall
OFFSET_PER_CM = BLOOD_DENSITY * GRAVITY * 0.01 / PASCAL_PER_MMHG
SATURDAY = 5
NO_SITE = -1
# Each site's side and placement as codes, by the site's code.
SIDE_OF_SITE = np.array([SIDES.index(site.partition("-")[0]) for site in SITES] + [np.nan])
PLACEMENT_OF_SITE = np.array([PLACEMENTS.index(site.partition("-")[2]) for site in SITES] + [np.nan])


def columns_of_readings(batch: Batch) -> Readings:
    """Return the facts of all readings, the subject's among them."""
    return Columns(batch, batch.readings, DERIVED["reading"], batch.subjects, batch.subject_of)


def _by_site(site: Floats, table: Floats) -> Floats:
    return table[np.where(np.isnan(site), len(SITES), site).astype(np.int64)]


@fact("reading", "side named in site", names=SIDES)
def side(facts: Readings) -> Floats:
    """Side the cuff was on."""
    return _by_site(facts["site"], SIDE_OF_SITE)


@fact("reading", "placement named in site, else the device's", names=PLACEMENTS)
def placement(facts: Readings) -> Floats:
    """Where the cuff was."""
    of_site = _by_site(facts["site"], PLACEMENT_OF_SITE)
    return np.where(np.isnan(of_site), facts["device_placement"], of_site)


@fact("reading", "systolic − diastolic", unit=MMHG)
def pulse_pressure(facts: Readings) -> Floats:
    """Pulse pressure."""
    return facts["systolic"] - facts["diastolic"]


@fact("reading", "diastolic + pulse_pressure / 3", unit=MMHG)
def mean_arterial(facts: Readings) -> Floats:
    """Mean arterial pressure by the one-third rule."""
    return facts["diastolic"] + facts["pulse_pressure"] / 3


def _of_measured_side(facts: Readings, left: str, right: str) -> Floats:
    measured = facts["side"]
    return np.where(measured == 0, facts[left], np.where(measured == 1, facts[right], np.nan))


@fact("reading", "arm_circumference_cm of the measured side, if the cuff was on the upper arm", unit="cm")
def arm_circumference_cm(facts: Readings) -> Floats:
    """Mid-upper-arm circumference of the measured arm."""
    around = _of_measured_side(facts, "circumference_left", "circumference_right")
    return np.where(facts["placement"] == UPPER_ARM, around, np.nan)


@fact("reading", "the measured side is in avoid_arms", flag=True)
def arm_to_avoid(facts: Readings) -> Floats:
    """No pressure should be taken on the measured arm."""
    return _of_measured_side(facts, "avoid_left", "avoid_right")


def _limb(facts: Readings) -> Floats:
    return np.where(facts["placement"] == WRIST, facts["wrist_circumference_cm"], facts["arm_circumference_cm"])


@fact("reading", "cuff_bladder_width_cm / arm_circumference_cm", unit="1")
def cuff_width_to_arm(facts: Readings) -> Floats:
    """Bladder width as a share of the mid-upper-arm circumference."""
    return facts["cuff_bladder_width_cm"] / facts["arm_circumference_cm"]


@fact("reading", "cuff_bladder_length_cm / arm_circumference_cm", unit="1")
def cuff_length_to_arm(facts: Readings) -> Floats:
    """Bladder length as a share of the mid-upper-arm circumference."""
    return facts["cuff_bladder_length_cm"] / facts["arm_circumference_cm"]


def _best_fitting(facts: Readings, choose: Callable[[Floats, Floats], Floats]) -> Floats:
    """Return the limb's circumference; where the side is unknown, that of the arm the cuff fits better."""
    around, left, right = _limb(facts), facts["circumference_left"], facts["circumference_right"]
    either = (facts["placement"] == UPPER_ARM) & np.isnan(facts["side"])
    return np.where(either, choose(left, right), around)


@fact("reading", "cuff_arm_min_cm − circumference of the measured limb (side not recorded: of the thicker arm)", unit="cm")
def arm_below_cuff_range_cm(facts: Readings) -> Floats:
    """How far the limb is too thin for the printed range; negative inside it."""
    return facts["cuff_arm_min_cm"] - _best_fitting(facts, np.maximum)


@fact("reading", "circumference of the measured limb (side not recorded: of the thinner arm) − cuff_arm_max_cm", unit="cm")
def arm_above_cuff_range_cm(facts: Readings) -> Floats:
    """How far the limb is too thick for the printed range; negative inside it."""
    return _best_fitting(facts, np.minimum) - facts["cuff_arm_max_cm"]


@fact("reading", "|fingers_under_top_edge − fingers_under_bottom_edge|", unit="1")
def cuff_tightness_difference(facts: Readings) -> Floats:
    """Fingers by which the cuff is tighter at one edge than at the other."""
    return np.abs(facts["fingers_under_top_edge"] - facts["fingers_under_bottom_edge"])


@fact("reading", "−arm_height_cm × 0.01 m × 1060 kg/m³ × 9.80665 m/s² / 133.322 Pa", unit=MMHG)
def hydrostatic_offset_mmhg(facts: Readings) -> Floats:
    """Pressure of the blood column between heart and cuff; positive reads high (cuff below the heart)."""
    return -facts["arm_height_cm"] * OFFSET_PER_CM


@fact("reading", "time since this person's previous reading on the same limb, or on one not recorded", unit="min",
      asked=False)  # fmt: skip
def minutes_since_last_inflation(facts: Readings) -> Floats:
    """Minutes since the cuff was last inflated on this limb; unknown for the first reading."""
    batch, site = facts.source, np.where(np.isnan(facts["site"]), NO_SITE, facts["site"])
    minutes = np.full(batch.size, np.nan)
    for limb in set(site.tolist()):
        rows = np.flatnonzero((site == limb) | (site == NO_SITE) | (limb == NO_SITE))
        same = steps(batch.subject_of[rows]) == 0
        since = np.where(same, steps(batch.instant[rows]) / 60, np.nan)
        here = site[rows[1:]] == limb
        minutes[rows[1:][here]] = since[here]
    return minutes


@fact("reading", "local date of taken_at − as_of", unit="d", asked=False)
def days_after_as_of(facts: Readings) -> Floats:
    """Days the reading is dated after the assessment."""
    return facts.source.day - facts["as_of"]


@fact("reading", "local time of taken_at", unit="h")
def hour(facts: Readings) -> Floats:
    """Hours since local midnight."""
    return facts.source.hour


@fact("reading", "systolic − device_range_high", unit=MMHG)
def above_device_range(facts: Readings) -> Floats:
    """How far the systolic value lies above what the device claims to measure."""
    return facts["systolic"] - facts["device_range_high"]


@fact("reading", "device_range_low − diastolic", unit=MMHG)
def below_device_range(facts: Readings) -> Floats:
    """How far the diastolic value lies below what the device claims to measure."""
    return facts["device_range_low"] - facts["diastolic"]


@fact("reading", "systolic × 1000 / 133.322", unit=MMHG)
def systolic_if_kpa(facts: Readings) -> Floats:
    """The systolic value, had it been written in kilopascals."""
    return facts["systolic"] * MMHG_PER_KPA


@fact("reading", "diastolic × 1000 / 133.322", unit=MMHG)
def diastolic_if_kpa(facts: Readings) -> Floats:
    """The diastolic value, had it been written in kilopascals."""
    return facts["diastolic"] * MMHG_PER_KPA


@fact("reading", "systolic × 10", unit=MMHG)
def systolic_if_cmhg(facts: Readings) -> Floats:
    """The systolic value, had it been written in centimetres of mercury."""
    return facts["systolic"] * 10


@fact("reading", "diastolic × 10", unit=MMHG)
def diastolic_if_cmhg(facts: Readings) -> Floats:
    """The diastolic value, had it been written in centimetres of mercury."""
    return facts["diastolic"] * 10


@fact("reading", "circumstance work-day or free-day as recorded, else Monday to Friday", flag=True)
def work_day(facts: Readings) -> Floats:
    """Taken on a working day (the weekday stands in where nothing was recorded: common practice)."""
    recorded_work, recorded_free = facts["circumstance_work_day"] == 1, facts["circumstance_free_day"] == 1
    weekday = (facts.source.day + 6) % 7 < SATURDAY  # ordinal 1 was a Monday
    recorded = recorded_work != recorded_free
    return np.where(recorded, recorded_work, weekday).astype(np.float64)


@fact("reading", "not work_day", flag=True)
def free_day(facts: Readings) -> Floats:
    """Taken on a free day."""
    return 1 - facts["work_day"]
