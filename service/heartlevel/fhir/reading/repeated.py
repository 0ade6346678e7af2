"""Names that stand more than once in one object of what was sent: FHIR's JSON has none such, and nothing is lost by it.

Objects are put together, and so are lists; of values that differ none counts, but what is severe among them is looked at.
"""

from collections.abc import Iterable, Mapping, Sequence
from re import compile as pattern
from typing import Any

from heartlevel.fhir.issues import STRUCTURE, WARNING, Issue
from heartlevel.intake.texts.json_text import Repeated, agreed, each_value

TOLD = "stands {count} times in its object; send it once. Lists and objects were put together, unlike values do not count"
MORE = "as many other names stand more than once in their objects: {count}"
MOST_TOLD = 50
DEEPEST = 50  # nothing that is read lies deeper
CHOSEN_TYPE = pattern(r"^(value|effective|onset|medication)[A-Z].*")  # names of which FHIRPath leaves out the type


def put_together(payload: Any) -> tuple[Any, list[Issue]]:
    """Return what was sent without names that stand twice in an object, and where such names stood.

    Values that differ stay `Repeated`, as do two resources of one entry.
    """
    if not _any_repeated(payload):
        return payload, []
    root, repeated = agreed(payload.get("resourceType")) if isinstance(payload, dict) else "", list[tuple[str, int]]()
    whole = _without_repeated(payload, str(root), repeated, 0)
    issues = [Issue(WARNING, STRUCTURE, TOLD.format(count=count), at) for at, count in repeated[:MOST_TOLD]]
    if len(repeated) > MOST_TOLD:
        issues.append(Issue(WARNING, STRUCTURE, MORE.format(count=len(repeated) - MOST_TOLD)))
    return whole, issues


def _any_repeated(payload: Any) -> bool:
    waiting = [payload]
    while waiting:
        value = waiting.pop()
        if isinstance(value, Repeated):
            return True
        if isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, list):
            waiting += value
    return False


def _without_repeated(value: Any, at: str, repeated: list[tuple[str, int]], depth: int) -> Any:
    if depth > DEEPEST:
        return value
    if isinstance(value, list):
        return [_without_repeated(item, f"{at}[{index}]", repeated, depth + 1) for index, item in enumerate(value)]
    if isinstance(value, Repeated):  # two resources, or values that differ
        return Repeated(tuple(_without_repeated(item, at, repeated, depth + 1) for item in value.values))
    if not isinstance(value, dict):
        return value
    whole = {}
    for name, item in value.items():
        typed = CHOSEN_TYPE.fullmatch(name)
        path = f"{at}.{typed[1] if typed else name}"
        if isinstance(item, Repeated):
            repeated.append((path, len(item.values)))
            item = _merged(item.values, depth)
        whole[name] = _without_repeated(item, path, repeated, depth + 1)
    return whole


def _merged(values: Sequence[Any], depth: int) -> Any:
    """Return one value for those that a name has; a list or an object counts before what is neither."""
    if depth > DEEPEST:
        return Repeated(tuple(values))
    flat = [part for value in values for part in each_value(value)]
    if lists := [value for value in flat if isinstance(value, list)]:
        return [item for listed in lists for item in listed]
    objects = [value for value in flat if isinstance(value, dict)]
    if objects and not any("resourceType" in value for value in objects):
        return {name: _of_all(objects, name, depth + 1) for name in _names(objects)}
    return agreed(Repeated(tuple(objects or flat)))


def _names(objects: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    return dict.fromkeys(name for item in objects for name in item)


def _of_all(objects: Iterable[Mapping[str, Any]], name: str, depth: int) -> Any:
    values = [item[name] for item in objects if name in item]
    return values[0] if len(values) == 1 else _merged(values, depth)
