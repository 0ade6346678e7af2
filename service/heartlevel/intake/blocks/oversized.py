"""Objects and lists that are far larger than anybody means, or none: cut before they are read, so that none costs much."""

from collections.abc import Iterable, Mapping
from types import NoneType
from typing import Any

from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.fields import Block, Items, Part

TOO_MANY_NAMES = "too-many-names"
MOST_STRANGE = 50  # names in one object that no field has: each is named with its near match; more are counted


def cut_to_size(raw: Any, block: Block, at: str) -> tuple[Any, list[Problem]]:
    """Return an object without most of what no field is for, with shorter lists, and a problem where names were left out.

    `at` is its JSON Pointer. A list keeps one item more than its field allows, which is then told as too long. What is
    of a declared size is returned as it is.
    """
    if not isinstance(raw, dict):
        return raw, []
    fields = {field.data_key or name: field for name, field in block.fields.items()}
    strange = [key for key in raw if key not in fields]
    problems = []
    if len(strange) > MOST_STRANGE:
        left_out = set(strange[MOST_STRANGE:])
        raw = {key: value for key, value in raw.items() if key not in left_out}
        problems.append(problem(at, TOO_MANY_NAMES, len(left_out)))
    changed = {}
    for name, field in fields.items():
        value = raw.get(name)
        if isinstance(field, Part) and isinstance(value, dict):
            inner, more = cut_to_size(value, field.schema, f"{at}/{name}")  # type: ignore[arg-type]
            problems += more
            if inner is not value:
                changed[name] = inner
        elif isinstance(field, Items) and isinstance(value, list) and len(value) > field.longest + 1:
            changed[name] = value[: field.longest + 1]
    return ({**raw, **changed} if changed else raw), problems


def not_lists(envelope: Mapping[str, Any], names: Iterable[str]) -> list[Problem]:
    """Return a problem for each of the named values that is neither a list nor null."""
    lists = [(name, envelope.get(name)) for name in names]
    return [problem(f"/{name}", "not-a-list", raw) for name, raw in lists if not isinstance(raw, (list, NoneType))]
