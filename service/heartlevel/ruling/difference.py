"""What differs between two rule sets: by item and field, with the reason where a layer gives one."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.ruling.ruleset import RuleSet

ABSENT = object()


@dataclass(frozen=True, slots=True)
class Difference:
    """An item that is in one rule set only, or not the same in both."""

    kind: str  # rule, guideline, protocol, wording or ruleset
    id: str
    what: str  # added, removed or changed
    fields: tuple[tuple[str, Any, Any], ...]  # dotted name, before, after; None where absent
    reasons: tuple[str, ...]


def differences(before: RuleSet, after: RuleSet) -> list[Difference]:
    """Return what differs, by kind and id."""
    reasons = _reasons(after)
    old, new = _items(before), _items(after)
    found = []
    for kind, name in sorted(old.keys() | new.keys()):
        fields = tuple(_fields(old.get((kind, name), {}), new.get((kind, name), {})))
        if fields:
            what = "added" if (kind, name) not in old else "removed" if (kind, name) not in new else "changed"
            shown = fields if what == "changed" else ()
            found.append(Difference(kind, name, what, shown, reasons.get((kind, name), ())))
    return found


def _reasons(ruleset: RuleSet) -> dict[tuple[str, str], tuple[str, ...]]:
    reasons: dict[tuple[str, str], tuple[str, ...]] = {}
    for layer in ruleset.layers:
        for change in layer.changes:
            key = change.kind, change.id
            reasons[key] = (*reasons.get(key, ()), f"{change.reason} ({layer.name})")
    return reasons


def _items(of: RuleSet) -> dict[tuple[str, str], Mapping[str, Any]]:
    head: dict[str, Any] = {"name": of.name, "revision": of.revision, "default_guideline": of.default_guideline}
    head |= {"usual_at_home": of.at_home.written} if of.at_home else {}
    head |= {"usual_in_office": of.in_office.written} if of.in_office else {}
    items: dict[tuple[str, str], Mapping[str, Any]] = {("ruleset", ""): head}
    items |= {("rule", rule.id): rule.written for rule in of.every_rule()}
    items |= {("guideline", name): one.written for name, one in of.guidelines.items()}
    items |= {("protocol", name): one.written for name, one in of.protocols.items()}
    for name, one in of.wording.items():
        items["wording", name] = {**one.written, "next_steps": one.next_steps}
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
    """Yield the items that differ: of items with ids what differs in each, of others those that one list lacks."""
    ours, theirs = _by_id(old), _by_id(new)
    if ours is not None and theirs is not None:
        yield from _fields(ours, theirs, name)
        old, new = list(ours), list(theirs)
    else:
        yield from ((name, one, None) for one in old if one not in new)
        yield from ((name, None, one) for one in new if one not in old)
    if old != new and len(old) == len(new) and all(one in new for one in old):
        yield f"{name} (order)", old, new


def _by_id(items: list[Any]) -> dict[str, Any] | None:
    found = {one["id"]: one for one in items if isinstance(one, Mapping) and "id" in one}
    return found if len(found) == len(items) else None
