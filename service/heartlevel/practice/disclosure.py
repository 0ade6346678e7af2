"""Disclosure control: a number of so few people that it may be about somebody known is not told.

A number from 1 to SMALLEST_GROUP − 1 is withheld, and all that was computed of such a group with it. Common practice of
offices that publish health statistics; where a local rule asks for more people, `heartlevel practice --smallest-group`.
"""

from collections.abc import Mapping
from typing import Any

SMALLEST_GROUP = 5


def number_told(count: int, smallest: int) -> int | None:
    """Return a number of people, None where it is withheld."""
    return None if 0 < count < smallest else count


def told_counts(counts: Mapping[str, int], smallest: int) -> dict[str, Any]:
    """Return numbers of people by name, the largest first; those withheld are None, last, and so is one more.

    Of a single one withheld the number would follow from the total and the others: the smallest other goes with it.
    """
    there = sorted(((name, count) for name, count in counts.items() if count), key=lambda item: (-item[1], item[0]))
    hidden = {name for name, count in there if count < smallest}
    shown = [name for name, _ in there if name not in hidden]
    if len(hidden) == 1 and shown:
        hidden.add(shown[-1])
    return {name: None if name in hidden else count for name, count in there}
