"""What a single comparison comes to: the interval of values for which it is true, and the outcome of what is unknown."""

from collections.abc import Mapping

import numpy as np

from heartlevel.columns import TOLERANCE
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.running.truth import FALSE, TRUE, UNKNOWN

EVERYTHING = (-np.inf, np.inf)
NOTHING = (np.inf, -np.inf)


def interval(term: Term, limits: Mapping[str, float]) -> tuple[float, float]:
    """Return the closed interval of values for which a comparison is true."""
    if term.operator == "known":
        return EVERYTHING if term.values[0] else NOTHING
    figures = term.figures(limits)
    first, last = figures[0], figures[-1]
    match term.operator:
        case "below":
            return -np.inf, float(np.nextafter(first - TOLERANCE, -np.inf))
        case "at_least":
            return first - TOLERANCE, np.inf
        case "above":
            return float(np.nextafter(first + TOLERANCE, np.inf)), np.inf
        case "at_most":
            return -np.inf, first + TOLERANCE
        case _:  # equals and between
            return first - TOLERANCE, last + TOLERANCE


def when_unknown(term: Term) -> int:
    """Return the outcome of a comparison whose fact is not recorded."""
    if term.operator != "known":
        return UNKNOWN
    return FALSE if term.values[0] else TRUE
