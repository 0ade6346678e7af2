"""The request the benchmark sends: one week of home readings, two sittings of two a day, fully documented."""

import orjson

from support import week

TECHNIQUE = {
    "body_position": "sitting", "back_supported": True, "feet_flat": True, "legs_crossed": False,
    "arm_supported": True, "arm_relaxed": True, "arm_height_cm": 0, "rested_minutes": 5, "talking": False,
    "full_bladder": False, "bare_arm": True, "cuff_mark_in_range": True, "cuff_mark_over_artery": True,
    "fingers_under_top_edge": 2, "fingers_under_bottom_edge": 2, "pumped_by_measured_arm": None,
    "minutes_since_exercise": None, "minutes_since_caffeine": 90, "minutes_since_nicotine": None,
}  # fmt: skip
CUFF = {"arm_min_cm": 22, "arm_max_cm": 42, "bladder_width_cm": 16, "bladder_length_cm": 30, "shape": "cylindrical"}
DEVICE = {"id": "d-1", "method": "oscillometric", "placement": "upper-arm", "inflation": "automatic", "cuff": CUFF,
          "independently_validated": True, "checked_on": "2026-01-12"}  # fmt: skip


def payload() -> dict:
    """Return the request: 28 readings, each with its technique, device, site and pulse."""
    more = {"pulse": 71, "device": "d-1", "site": "left-upper-arm", "selected_from": 1, "technique": TECHNIQUE,
            "circumstances": ["work-day"]}  # fmt: skip
    whole = week(7, ((128, 82), (126, 81)), **more)
    whole["subject"] |= {"arm_circumference_cm": {"left": 33.0, "right": 32.5}, "pregnant": False}
    return whole | {"devices": [DEVICE]}


def body() -> bytes:
    return orjson.dumps(payload())
