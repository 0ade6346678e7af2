"""What a careful person would write in pandas alone: a few technique flags, averages by protocol, a category, a pattern.

It does much less than the service (11 rules instead of all, no intervals, no probabilities, no checks of the input), so
that a comparison flatters the script. `by_subject` works a subject at a time; `at_once` has only whole-table steps.
"""

import numpy as np
import pandas as pd

LIMITS = [(180, 120, "severe"), (140, 90, "stage-2"), (130, 80, "stage-1"), (120, -1, "elevated")]
GAP = pd.Timedelta(minutes=10)


def prepared(frame: pd.DataFrame) -> pd.DataFrame:
    """Read the times, mark technique faults, number sittings."""
    whole = frame.assign(time=pd.to_datetime(frame["taken_at"], format="ISO8601"))
    whole = whole.sort_values(["subject", "time"], kind="stable")
    whole["day"] = whole["time"].dt.date
    around = whole["subject.arm_circumference_cm.left"]
    faults = {
        "back": ~whole["technique.back_supported"],
        "legs": whole["technique.legs_crossed"],
        "talking": whole["technique.talking"],
        "arm_low": whole["technique.arm_height_cm"] < -5,
        "arm_high": whole["technique.arm_height_cm"] > 5,
        "rest": whole["technique.rested_minutes"] < 5,
        "cuff_small": around > whole["cuff.arm_max_cm"],
        "cuff_large": around < whole["cuff.arm_min_cm"],
        "severe": (whole["systolic"] >= 180) | (whole["diastolic"] >= 120),
        "narrow": whole["systolic"] - whole["diastolic"] < 15,
        "swapped": whole["systolic"] <= whole["diastolic"],
    }
    whole = whole.assign(**faults)
    since = whole.groupby(["subject", "setting"])["time"].diff()
    whole["sitting"] = (since.isna() | (since >= GAP)).cumsum()
    return whole[~whole["swapped"]]


def category(systolic: float, diastolic: float) -> str:
    """Return the highest category either pressure reaches."""
    return next((name for high, low, name in LIMITS if systolic >= high or (low > 0 and diastolic >= low)), "normal")


def one_subject(group: pd.DataFrame) -> dict:
    """Summarise one subject."""
    home, office = group[group["setting"] == "home"], group[group["setting"] == "office"]
    by_day = home.groupby("day")[["systolic", "diastolic"]].mean()
    mean, sd = home[["systolic", "diastolic"]].mean(), home[["systolic", "diastolic"]].std()
    in_office = office[["systolic", "diastolic"]].mean()
    return {
        "readings": len(group), "days": len(by_day), "systolic": mean["systolic"], "diastolic": mean["diastolic"],
        "sd": sd["systolic"], "error": by_day["systolic"].sem(), "category": category(*mean),
        "office_only": bool(in_office["systolic"] >= 130 and mean["systolic"] < 130),
    }  # fmt: skip


def by_subject(frame: pd.DataFrame) -> pd.DataFrame:
    """Go subject by subject."""
    whole = prepared(frame)
    return pd.DataFrame({name: one_subject(group) for name, group in whole.groupby("subject", sort=False)}).T


def at_once(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Use only groupings that pandas does in compiled code."""
    whole = prepared(frame)
    pressures = ["systolic", "diastolic"]
    groups = whole.groupby(["subject", "setting"], sort=False)[pressures].agg(["mean", "std", "count"])
    days = whole.groupby(["subject", "setting", "day"], sort=False)[pressures].mean()
    error = days.groupby(["subject", "setting"], sort=False).sem()
    systolic, diastolic = groups["systolic", "mean"], groups["diastolic", "mean"]
    reached = [(systolic >= high) | ((diastolic >= low) if low > 0 else False) for high, low, _ in LIMITS]
    groups["category"] = np.select(reached, [name for _, _, name in LIMITS], "normal")
    groups["error"] = error["systolic"]
    faults = whole.groupby("subject", sort=False)[["back", "legs", "talking", "arm_low", "rest", "cuff_small"]].sum()
    return groups, faults
