"""The periods that a request names: their declaration, those that can be used, and what is wrong with the others."""

from collections.abc import Mapping
from typing import Any, cast

from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.fields import Block, day, text

PERIOD_FIELDS = {
    "name": text("the caller's name for the period", required=True),
    "from": day("its first day", required=True),
    "to": day("its last day; where absent, the day before the next period begins"),
}
# `from` is no name in Python.
PeriodBlock = cast(type[Block], Block.from_dict(dict(PERIOD_FIELDS), name="PeriodBlock"))


def named_periods(periods: Mapping[int, dict[str, Any]]) -> tuple[list[dict[str, Any]], list[Problem]]:
    """Return the usable periods by their first days, and problems. Of two with one name the first in the list is used."""
    usable: dict[str, dict[str, Any]] = {}
    problems = []
    for index, period in periods.items():
        name, begins, ends = period["name"], period["from"], period.get("to")
        if ends is not None and ends < begins:
            problems.append(problem(f"/periods/{index}/to", "ends-before-it-begins", ends, begins))
        elif name in usable:
            problems.append(problem(f"/periods/{index}/name", "id-repeated", name, hint="the first of them is used"))
        else:
            usable[name] = period
    return sorted(usable.values(), key=lambda period: (period["from"], period["name"])), problems
