"""What a layer's own guidelines may not do: let a value that may need help now go unnamed.

A change of a limit below is judged with the change itself (see `layers`); here are the ways round it, an added
guideline and another guideline for pregnancy, each held against the laxest that the rules below have.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeGuard

from heartlevel.ruling.source import RuleFault, Written, mapping

Item = Mapping[str, Any]
PRESSURES = ("systolic", "diastolic")


def loosened(below: Sequence[Written], laid: Sequence[Written]) -> Iterator[RuleFault]:
    """Yield each guideline of `laid` under which severe values go unnamed that every guideline `below` names."""
    before, after = _by_id(below), _by_id(laid)
    severe, in_pregnancy = _laxest(before.values()), _laxest(_for_pregnancy(before))
    least = min((days for one in before.values() for days in _days(one)), default=0.0)
    for file, path, item in laid:
        name = mapping(item).get("id")
        for pressure, limit in _above(item, severe) if name not in before else ():
            detail = f"severe {pressure} {limit:g} is above the {severe[pressure]:g} of every guideline below"
            yield file.fault((*path, "limits", "severe", pressure), "urgent-rule", detail)
        for days in [days for days in _days(item) if name not in before and days < least]:
            detail = f"after_birth_days {days:g} is below the {least:g} of every guideline below"
            yield file.fault((*path, "after_birth_days"), "urgent-rule", detail)
        other = str(mapping(item).get("in_pregnancy"))
        for pressure, limit in _above(before.get(other, after.get(other)), in_pregnancy):
            detail = f"in pregnancy severe {pressure} {limit:g} of '{other}' is above the {in_pregnancy[pressure]:g} below"
            yield file.fault((*path, "in_pregnancy"), "urgent-rule", detail)


def _by_id(items: Iterable[Written]) -> dict[str, Item]:
    return {item["id"]: item for _, _, item in items if isinstance(item, dict) and isinstance(item.get("id"), str)}


def _for_pregnancy(guidelines: Mapping[str, Item]) -> list[Item]:
    names = {one.get("in_pregnancy") for one in guidelines.values() if isinstance(one.get("in_pregnancy"), str)}
    return [one for name, one in guidelines.items() if name in names]


def _days(guideline: object) -> list[float]:
    days = mapping(guideline).get("after_birth_days")
    return [days] if _is_number(days) else []


def _severe(guideline: object) -> dict[str, float]:
    limits = mapping(mapping(mapping(guideline).get("limits")).get("severe"))
    return {name: limits[name] for name in PRESSURES if _is_number(limits.get(name))}


def _laxest(guidelines: Iterable[Item]) -> dict[str, float]:
    laxest: dict[str, float] = {}
    for one in guidelines:
        laxest = {name: max(limit, laxest.get(name, limit)) for name, limit in _severe(one).items()}
    return laxest


def _above(guideline: object, laxest: Mapping[str, float]) -> Iterator[tuple[str, float]]:
    for name, limit in _severe(guideline).items():
        if limit > laxest.get(name, limit):
            yield name, limit


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
