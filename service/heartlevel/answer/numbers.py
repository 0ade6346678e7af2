"""How numbers leave: rounded here and nowhere else; unknown is null."""


def rounded(value: float, places: int = 1) -> float | None:
    """Round for the answer; NaN becomes None, and minus zero zero."""
    return None if value != value else round(float(value), places) + 0.0


def pair(low: float, high: float, places: int = 1) -> list[float | None] | None:
    """Return an interval, or None where it is not known."""
    return None if low != low else [rounded(low, places), rounded(high, places)]
