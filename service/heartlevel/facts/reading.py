"""Facts of one reading, derived from what was recorded with it."""

from collections.abc import Callable
from functools import partial
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats
from heartlevel.facts.catalogue import DERIVED, derived, derived_both, fact
from heartlevel.intake.batch import Batch
from heartlevel.kernels import sittings
from heartlevel.vocabulary import MMHG, MMHG_PER_KPA, PASCAL_PER_MMHG, PLACEMENTS, SIDES, SITES

Readings: TypeAlias = Columns[Batch]

UPPER_ARM, WRIST = PLACEMENTS.index("upper-arm"), PLACEMENTS.index("wrist")
BLOOD_DENSITY = 1060.0  # kg/m3; published figures run from 1050 to 1065 (quoted from memory)
GRAVITY = 9.80665  # m/s2, standard acceleration of free fall
OFFSET_PER_CM = BLOOD_DENSITY * GRAVITY * 0.01 / PASCAL_PER_MMHG
SATURDAY = 5
# Each site's side and placement as codes, by the site's code.
SIDE_OF_SITE = np.array([SIDES.index(site.partition("-")[0]) for site in SITES] + [np.nan])
PLACEMENT_OF_SITE = np.array([PLACEMENTS.index(site.partition("-")[2]) for site in SITES] + [np.nan])

_enter, _enter_both = partial(derived, "reading"), partial(derived_both, "reading")


def columns_of_readings(batch: Batch) -> Readings:
    """Return the facts of all readings, the subject's among them."""
    return Columns(batch, DERIVED["reading"], batch.subjects, batch.subject_of, batch.readings)


def _by_site(site: Floats, table: Floats) -> Floats:
    return table[np.where(np.isnan(site), len(SITES), site).astype(np.int64)]


_enter("side", "side named in site", "Side the cuff was on",
       lambda facts: _by_site(facts["site"], SIDE_OF_SITE), names=SIDES)  # fmt: skip


@fact("reading", "placement named in site, else the device's", names=PLACEMENTS)
def placement(facts: Readings) -> Floats:
    """Where the cuff was."""
    of_site = _by_site(facts["site"], PLACEMENT_OF_SITE)
    return np.where(np.isnan(of_site), facts["device_placement"], of_site)


def _by_measured_side(facts: Readings, left: str, right: str) -> Floats:
    measured = facts["side"]
    return np.where(measured == 0, facts[left], np.where(measured == 1, facts[right], np.nan))


_enter("pulse_pressure", "systolic − diastolic", "Pulse pressure",
       lambda facts: facts["systolic"] - facts["diastolic"], unit=MMHG)  # fmt: skip
_enter("mean_arterial", "diastolic + pulse_pressure / 3", "Mean arterial pressure by the one-third rule",
       lambda facts: facts["diastolic"] + facts["pulse_pressure"] / 3, unit=MMHG)  # fmt: skip


@fact("reading", "arm_circumference_cm of the measured side, if the cuff was on the upper arm", unit="cm")
def arm_circumference_cm(facts: Readings) -> Floats:
    """Mid-upper-arm circumference of the measured arm."""
    around = _by_measured_side(facts, "circumference_left", "circumference_right")
    return np.where(facts["placement"] == UPPER_ARM, around, np.nan)


_enter("arm_to_avoid", "the measured side is in avoid_arms", "No pressure should be taken on the measured arm",
       _by_measured_side, "avoid_left", "avoid_right", flag=True)  # fmt: skip
_enter("other_arm_to_avoid", "the side that is not measured is in avoid_arms",
       "No pressure should be taken on the arm that is not measured either",
       _by_measured_side, "avoid_right", "avoid_left", flag=True, asked=False)  # fmt: skip
for _size in ("width", "length"):
    _enter(f"cuff_{_size}_to_arm", f"cuff_bladder_{_size}_cm / arm_circumference_cm",
           f"Bladder {_size} as a share of the mid-upper-arm circumference",
           lambda facts, bladder: facts[bladder] / facts["arm_circumference_cm"], f"cuff_bladder_{_size}_cm",
           unit="1")  # fmt: skip


def _best_fitting(facts: Readings, choose: Callable[[Floats, Floats], Floats]) -> Floats:
    """Return the limb's circumference; where the side is unknown, that of the arm the cuff fits better."""
    around = np.where(facts["placement"] == WRIST, facts["wrist_circumference_cm"], facts["arm_circumference_cm"])
    either = (facts["placement"] == UPPER_ARM) & np.isnan(facts["side"])
    return np.where(either, choose(facts["circumference_left"], facts["circumference_right"]), around)


_enter("arm_below_cuff_range_cm",
       "cuff_arm_min_cm − circumference of the measured limb (side not recorded: of the thicker arm)",
       "How far the limb is too thin for the printed range; negative inside it",
       lambda facts: facts["cuff_arm_min_cm"] - _best_fitting(facts, np.maximum), unit="cm")  # fmt: skip
_enter("arm_above_cuff_range_cm",
       "circumference of the measured limb (side not recorded: of the thinner arm) − cuff_arm_max_cm",
       "How far the limb is too thick for the printed range; negative inside it",
       lambda facts: _best_fitting(facts, np.minimum) - facts["cuff_arm_max_cm"], unit="cm")  # fmt: skip
_enter("cuff_tightness_difference", "|fingers_under_top_edge − fingers_under_bottom_edge|",
       "Fingers by which the cuff is tighter at one edge than at the other",
       lambda facts: np.abs(facts["fingers_under_top_edge"] - facts["fingers_under_bottom_edge"]), unit="1")  # fmt: skip
_enter("hydrostatic_offset_mmhg", "−arm_height_cm × 0.01 m × 1060 kg/m³ × 9.80665 m/s² / 133.322 Pa",
       "Pressure of the blood column between heart and cuff; positive reads high (cuff below the heart)",
       lambda facts: -facts["arm_height_cm"] * OFFSET_PER_CM, unit=MMHG)  # fmt: skip


@fact("reading", "time since this person's previous reading on the same limb, or on one not recorded", unit="min",
      asked=False)  # fmt: skip
def minutes_since_last_inflation(facts: Readings) -> Floats:
    """Minutes since the cuff was last inflated on this limb; unknown for the first reading."""
    batch, site = facts.source, facts["site"]
    limb_of = np.where(np.isnan(site), 0, site + 1).astype(np.int64)
    before = np.empty(batch.size, dtype=np.int64)
    sittings.find_last_inflations(batch.subject_of, limb_of, np.empty(1 + len(SITES), dtype=np.int64), before)
    return np.where(before < 0, np.nan, (batch.instant - batch.instant[before]) / 60)


_enter("days_after_as_of", "local date of taken_at − as_of", "Days the reading is dated after the assessment",
       lambda facts: facts.source.calendar_day - facts["as_of"], unit="d", asked=False)  # fmt: skip
_enter("hour", "local time of taken_at", "Hours since local midnight", lambda facts: facts.source.wall_clock, unit="h")
_enter("above_device_range", "systolic − device_range_high",
       "How far the systolic value lies above what the device claims to measure",
       lambda facts: facts["systolic"] - facts["device_range_high"], unit=MMHG)  # fmt: skip
_enter("below_device_range", "device_range_low − diastolic",
       "How far the diastolic value lies below what the device claims to measure",
       lambda facts: facts["device_range_low"] - facts["diastolic"], unit=MMHG)  # fmt: skip
for _unit, _name, _formula, _factor in (("kpa", "kilopascals", "1000 / 133.322", MMHG_PER_KPA),
                                        ("cmhg", "centimetres of mercury", "10", 10.0)):  # fmt: skip
    _enter_both(f"{{}}_if_{_unit}", f"{{}} × {_formula}", f"The {{}} value, had it been written in {_name}",
                lambda facts, pressure, factor: facts[pressure] * factor, _factor, unit=MMHG)  # fmt: skip


@fact("reading", "circumstance work-day or free-day as recorded, else Monday to Friday", flag=True)
def work_day(facts: Readings) -> Floats:
    """Taken on a working day (the weekday stands in where nothing was recorded: common practice)."""
    recorded_work, recorded_free = facts["circumstance_work_day"] == 1, facts["circumstance_free_day"] == 1
    weekday = (facts.source.day + 6) % 7 < SATURDAY  # ordinal 1 was a Monday
    recorded = recorded_work != recorded_free
    return np.where(recorded, recorded_work, weekday).astype(np.float64)


_enter("free_day", "not work_day", "Taken on a free day", lambda facts: 1 - facts["work_day"], flag=True)
