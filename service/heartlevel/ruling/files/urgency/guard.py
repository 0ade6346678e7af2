"""What a layer does after which a value that may need help now would go unnamed.

A changed limit is held against the one below it. There are ways round that: an added guideline, and another guideline
for pregnancy. Each is held against the laxest limits that the guidelines below the layer have.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import product
from typing import Any, TypeAlias, TypeGuard

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.vocabulary import PRESSURES, URGENCY_LEVELS

Item: TypeAlias = Mapping[str, Any]
# What may be set of an urgent rule: its wording, and what is proved to leave nobody less urgent once it is loaded.
FREE = {"title", "explanation", "advice", "sources", "parameters", "examples"}

# Of how urgent things are: figures that a layer may raise, figures that it may lower, and levels that it may raise.
NEVER_LOWER: tuple[KeyPath, ...] = (
    ("older", "after_days"), ("history", "after_days"), ("history", "in_maternity_after_days"),
    ("history", "answered_after_days"), ("lower_repeat", "after_minutes"),
    ("lone_ambulatory", "among"), ("believed_up_to", "systolic"), ("believed_up_to", "diastolic"),
)  # fmt: skip
NEVER_HIGHER: tuple[KeyPath, ...] = (("lone_ambulatory", "readings"),)
LEVELS: tuple[KeyPath, ...] = (
    ("without_symptoms",), ("lower_repeat", "level"), ("older", "level"), ("older", "in_maternity"),
)  # fmt: skip


def muted(setting: Entry, below: Item) -> Iterator[RuleFault]:
    """Yield each change of a rule or guideline after which an urgent value would no longer be named."""
    if below.get("urgent"):
        for name in sorted(setting.item.keys() - FREE):
            detail = f"'{below['id']}' names values that may need help now; {name} cannot be set"
            yield setting.fault((name,), "urgent-rule", detail, "texts, parameters and parts of its condition can")
    before = _severe(below)
    for pressure, limit in _above(setting.item, before):
        detail = f"severe {pressure} {limit:g} is above the {before[pressure]:g} below: values between would go unnamed"
        yield setting.fault(("limits", "severe", pressure), "urgent-rule", detail)
    for days, least in product(_days(setting.item), _days(below)):
        if days < least:
            detail = f"after_birth_days {days:g} is below the {least:g} below: severe values in between would go unnamed"
            yield setting.fault(("after_birth_days",), "urgent-rule", detail)


def loosened(below: Sequence[Entry], laid: Sequence[Entry]) -> Iterator[RuleFault]:
    """Yield each guideline of `laid` under which severe values go unnamed that every guideline `below` names."""
    before, after = _by_id(below), _by_id(laid)
    severe, in_pregnancy = _laxest(before.values()), _laxest(_for_pregnancy(before))
    least = min((days for item in before.values() for days in _days(item)), default=0.0)
    for entry in laid:
        item = mapping(entry.item)
        if str(item.get("id")) not in before:
            for pressure, limit in _above(item, severe):
                detail = f"severe {pressure} {limit:g} is above the {severe[pressure]:g} of every guideline below"
                yield entry.fault(("limits", "severe", pressure), "urgent-rule", detail)
            for days in _days(item):
                if days < least:
                    detail = f"after_birth_days {days:g} is below the {least:g} of every guideline below"
                    yield entry.fault(("after_birth_days",), "urgent-rule", detail)
        other = str(item.get("in_pregnancy"))
        for pressure, limit in _above(before.get(other, after.get(other)), in_pregnancy):
            detail = f"in pregnancy severe {pressure} {limit:g} of '{other}' is above the {in_pregnancy[pressure]:g} below"
            yield entry.fault(("in_pregnancy",), "urgent-rule", detail)


def lowered(changed: Entry, below: Item) -> Iterator[RuleFault]:
    """Yield each change of how urgent things are after which something would be less urgent. Items may be unchecked."""
    for paths, way, word in ((NEVER_LOWER, 1, "below"), (NEVER_HIGHER, -1, "above")):
        for path in paths:
            before, after = _at(path, below), _at(path, changed.item)
            if _is_number(before) and _is_number(after) and way * after < way * before:
                yield changed.fault(path, "urgent-rule", f"{after:g} is {word} the {before:g} below: less would be urgent")
    for path in LEVELS:
        before, after = _at(path, below), _at(path, changed.item)
        known = before in URGENCY_LEVELS and after in URGENCY_LEVELS
        if known and URGENCY_LEVELS.index(after) > URGENCY_LEVELS.index(before):
            yield changed.fault(path, "urgent-rule", f"'{after}' is less urgent than the '{before}' below")
    yield from _symptoms_lowered(changed, below)


def _at(path: KeyPath, item: Item) -> Any:
    return mapping(item, *map(str, path[:-1])).get(str(path[-1]))


def _symptoms_lowered(changed: Entry, below: Item) -> Iterator[RuleFault]:
    for beside in mapping(below, "symptoms"):
        before, after = (_tiers(mapping(item, "symptoms", beside)) for item in (below, changed.item))
        for name, level in sorted(before.items()):
            if after.get(name, len(URGENCY_LEVELS)) > level:
                detail = f"'{name}' would be less urgent than '{URGENCY_LEVELS[level]}', as it is below"
                yield changed.fault(("symptoms", beside), "urgent-rule", detail)


def _tiers(by_level: Item) -> dict[str, int]:
    """Return the most urgent level of each symptom; lists replaced by something else name none."""
    tiers: dict[str, int] = {}
    for level, names in by_level.items():
        for name in names if level in URGENCY_LEVELS and isinstance(names, list) else ():
            if isinstance(name, str):
                tiers[name] = min(URGENCY_LEVELS.index(level), tiers.get(name, len(URGENCY_LEVELS)))
    return tiers


def _by_id(entries: Iterable[Entry]) -> dict[str, Item]:
    return {item["id"]: item for _, _, item in entries if isinstance(item, dict) and isinstance(item.get("id"), str)}


def _for_pregnancy(guidelines: Mapping[str, Item]) -> list[Item]:
    names = {str(item.get("in_pregnancy")) for item in guidelines.values()}
    return [item for name, item in guidelines.items() if name in names]


def _days(guideline: object) -> list[float]:
    days = mapping(guideline).get("after_birth_days")
    return [days] if _is_number(days) else []


def _severe(guideline: object) -> dict[str, float]:
    limits = mapping(guideline, "limits", "severe")
    return {name: limits[name] for name in PRESSURES if _is_number(limits.get(name))}


def _laxest(guidelines: Iterable[Item]) -> dict[str, float]:
    laxest: dict[str, float] = {}
    for guideline in guidelines:
        laxest = {name: max(limit, laxest.get(name, limit)) for name, limit in _severe(guideline).items()}
    return laxest


def _above(guideline: object, laxest: Mapping[str, float]) -> Iterator[tuple[str, float]]:
    for name, limit in _severe(guideline).items():
        if limit > laxest.get(name, limit):
            yield name, limit


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
