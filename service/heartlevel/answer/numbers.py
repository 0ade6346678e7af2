"""How numbers leave: rounded here and nowhere else; unknown is null."""

from typing import Any

import numpy as np

from heartlevel.columns import Floats

# A product this near to a half, or this large, may have crossed the half by its own rounding.
NEAR_HALF, LARGE = 1e-6, 1e8


def rounded(value: float, places: int = 1) -> float | None:
    """Round for the answer; NaN becomes None, and minus zero zero."""
    return None if value != value else round(float(value), places) + 0.0


def all_rounded(values: Floats, places: int = 1) -> Any:
    """Return nested lists of an array's values, each as `rounded` has it; a whole array costs what a few values do."""
    scale = 10.0**places
    with np.errstate(over="ignore", invalid="ignore"):  # the large are rounded one by one
        scaled = values * scale
        whole = np.rint(scaled)
        unsure = (np.abs(scaled - whole) > 0.5 - NEAR_HALF) | (np.abs(scaled) > LARGE)
    found = (whole / scale + 0.0).astype(object)
    found[np.isnan(values)] = None
    for place in zip(*np.nonzero(unsure), strict=True):
        found[place] = rounded(values[place], places)
    return found.tolist()


def pair(low: float, high: float, places: int = 1) -> list[float | None] | None:
    """Return an interval, or None where it is not known."""
    return None if low != low else [rounded(low, places), rounded(high, places)]
