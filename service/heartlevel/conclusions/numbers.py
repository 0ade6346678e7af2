"""Numbers as they are told: rounded here and nowhere else; unknown is None."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from heartlevel.columns import Floats

# A product this near to a half, or this large, may have crossed the half by its own rounding.
NEAR_HALF, LARGE = 1e-6, 1e8
FEW = 32  # so many values are rounded one by one in the time that the steps of arrays take


def rounded(value: float, decimals: int = 1) -> float | None:
    """Round a number; NaN becomes None, and minus zero zero."""
    return None if value != value else round(float(value), decimals) + 0.0


def all_rounded(values: Floats, decimals: int = 1) -> Any:
    """Return nested lists of an array's values, each as `rounded` has it; a whole array costs what a few values do."""
    if values.size <= FEW:
        return _each_rounded(values.tolist(), decimals)
    scale = 10.0**decimals
    with np.errstate(over="ignore", invalid="ignore"):  # the large are rounded one by one
        scaled = values * scale
        whole = np.rint(scaled)
        near_half = np.abs(scaled - whole) > 0.5 - NEAR_HALF
        parts = values[near_half] * 2.0 ** (decimals + 1)
        near_half[near_half] = parts != np.rint(parts)  # a half to the last binary place is rounded to even either way
        unsure = near_half | (np.abs(scaled) > LARGE)
    told, unknown = whole / scale + 0.0, np.isnan(values)
    told[unsure] = _each_rounded(values[unsure].tolist(), decimals)
    if unknown.any():
        told = told.astype(object)
        told[unknown] = None
    return told.tolist()


def _each_rounded(values: list[Any], decimals: int) -> list[Any]:
    if values and isinstance(values[0], list):
        return [_each_rounded(value, decimals) for value in values]
    return [None if value != value else round(value, decimals) + 0.0 for value in values]


def mappings_rounded(mappings: Sequence[Mapping[str, float]], decimals: int) -> list[dict[str, Any]]:
    """Return mappings with their numbers as `rounded` has them, all in one go."""
    told = iter(all_rounded(np.array([value for mapping in mappings for value in mapping.values()]), decimals))
    return [dict(zip(mapping, told, strict=False)) for mapping in mappings]


def rounded_interval(low: float, high: float, decimals: int = 1) -> list[float | None] | None:
    """Round the ends of an interval; None where it is not known."""
    return None if low != low else [rounded(low, decimals), rounded(high, decimals)]
