"""What differs between two rule sets, item by item and field by field, with the reason where a layer gives one."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.ruling.files.translated.states import MADE_FROM
from heartlevel.ruling.language.ruleset import RuleSet

ABSENT = object()


@dataclass(frozen=True, slots=True)
class ItemDifference:
    """An item that is in one rule set only, or not the same in both."""

    kind: str  # rule, guideline, protocol, wording, fact, ruleset or urgency
    id: str
    what: str  # added, removed or changed
    fields: tuple[tuple[str, Any, Any], ...]  # dotted name, before, after; None where absent
    reasons: tuple[str, ...]


def differences(before: RuleSet, after: RuleSet) -> list[ItemDifference]:
    """Return what differs, by kind and id."""
    reasons = _reasons(after)
    old, new = _items(before), _items(after)
    differing = []
    for kind, name in sorted(old.keys() | new.keys()):
        fields = tuple(_fields(old.get((kind, name), {}), new.get((kind, name), {})))
        if fields:
            what = "added" if (kind, name) not in old else "removed" if (kind, name) not in new else "changed"
            shown = fields if what == "changed" else ()
            differing.append(ItemDifference(kind, name, what, shown, reasons.get((kind, name), ())))
    return differing


def _reasons(ruleset: RuleSet) -> dict[tuple[str, str], tuple[str, ...]]:
    reasons: dict[tuple[str, str], tuple[str, ...]] = {}
    for layer in ruleset.layers:
        for change in layer.changes:
            key = change.kind, change.id
            reasons[key] = (*reasons.get(key, ()), f"{change.reason} ({layer.name})")
    return reasons


def _items(ruleset: RuleSet) -> dict[tuple[str, str], Mapping[str, Any]]:
    head: dict[str, Any] = {name: getattr(ruleset, name) for name in ("name", "revision", "default_guideline")}
    head |= {"usual_at_home": ruleset.at_home.written} if ruleset.at_home else {}
    head |= {"usual_in_office": ruleset.in_office.written} if ruleset.in_office else {}
    head |= {"usual_ambulatory": ruleset.ambulatory.written} if ruleset.ambulatory else {}
    head |= {"sureness": ruleset.sureness.written} if ruleset.sureness.written else {}
    head |= {"follow_up": ruleset.follow_up.written} if ruleset.follow_up else {}
    items: dict[tuple[str, str], Mapping[str, Any]] = {("ruleset", ""): head, ("urgency", ""): ruleset.ladder.written}
    items |= {("rule", rule.id): rule.written for rule in ruleset.every_rule()}
    items |= {("guideline", name): guideline.written for name, guideline in ruleset.guidelines.items()}
    items |= {("protocol", name): protocol.written for name, protocol in ruleset.protocols.items()}
    items |= {("fact", own.name): ruleset.entries["fact", own.name].item for own in ruleset.own_facts}
    for language, wording in ruleset.wording.items():
        told = {field: texts for field, texts in wording.written.items() if field != MADE_FROM}  # records, no texts
        items["wording", language] = {**told, "next_steps": wording.next_steps}
    return items


def _fields(old: Any, new: Any, name: str = "") -> Iterator[tuple[str, Any, Any]]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys([*old, *new]):
            yield from _fields(old.get(key, ABSENT), new.get(key, ABSENT), f"{name}.{key}" if name else str(key))
    elif isinstance(old, list) and isinstance(new, list):
        yield from _in_lists(old, new, name)
    elif old is ABSENT or new is ABSENT or old != new:
        yield name, None if old is ABSENT else old, None if new is ABSENT else new


def _in_lists(old: list[Any], new: list[Any], name: str) -> Iterator[tuple[str, Any, Any]]:
    """Yield what differs: if all items have ids, within each of them, else the items that only one of the lists has."""
    ours, theirs = _by_id(old), _by_id(new)
    if ours is not None and theirs is not None:
        yield from _fields(ours, theirs, name)
        old, new = list(ours), list(theirs)
    else:
        yield from ((name, item, None) for item in old if item not in new)
        yield from ((name, None, item) for item in new if item not in old)
    if old != new and len(old) == len(new) and all(item in new for item in old):
        yield f"{name} (order)", old, new


def _by_id(items: list[Any]) -> dict[str, Any] | None:
    named = {item["id"]: item for item in items if isinstance(item, Mapping) and "id" in item}
    return named if len(named) == len(items) else None
