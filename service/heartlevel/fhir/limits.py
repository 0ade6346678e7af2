"""How much one call may send as FHIR: resources cost more to read than requests, and one call may be about many people."""

from collections.abc import Mapping
from typing import Any

from heartlevel.intake.request import TooManyReadings
from heartlevel.intake.texts.json_text import Repeated, items_legible_in

MOST_RESOURCES, MOST_PARTS, MOST_COMPONENTS, MOST_PEOPLE = 6_000, 200, 20, 100
HOLDING_RESOURCES = ("entry", "parameter")


def refuse_too_many(payload: object) -> None:
    """Raises TooManyReadings where more resources are sent than allowed, or a list in one of them is longer."""
    waiting, resources = [payload], 0
    while waiting:
        value = waiting.pop()
        if isinstance(value, Mapping):
            for name, part in value.items():
                if isinstance(part, (list, Repeated)):
                    resources += _allowed(name, _listed(part))
            waiting += value.values()
        elif isinstance(value, (list, Repeated)):
            waiting += _listed(value)
        if resources > MOST_RESOURCES:
            raise TooManyReadings(resources, MOST_RESOURCES, "resources or parameters")


def refuse_many_people(people: int) -> None:
    """Raises TooManyReadings where a call is about more people than allowed."""
    if people > MOST_PEOPLE:
        raise TooManyReadings(people, MOST_PEOPLE, "people")


def _listed(part: list[Any] | Repeated) -> list[Any]:
    """Return a list; those of a name that stands more than once are read as one."""
    return [*items_legible_in(part)] if isinstance(part, Repeated) else part


def _allowed(name: object, listed: list[Any]) -> int:
    """Return how many resources a list may hold. Raises TooManyReadings where it is longer than any other list may be."""
    if name in HOLDING_RESOURCES:
        return len(listed)
    most, parts = (MOST_COMPONENTS, "components") if name == "component" else (MOST_PARTS, "parts in one list")
    if len(listed) > most:
        raise TooManyReadings(len(listed), most, f"{parts} of one resource")
    return 0
