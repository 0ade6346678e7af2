"""Parts of a rule's condition that a layer replaces, takes out or adds, the rest of it left as it stands below.

A part is addressed by the fact it compares or the rule it mentions, or written as it stands; it must be there once.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.language.conditions import GROUPS
from heartlevel.ruling.language.faults import Entry, KeyPath, Origin, RuleFault

WHEN: KeyPath = ("when",)


class ConditionPart(NamedTuple):
    """A condition within a rule's `when`: its path in the rule, its content, and what a short address calls it."""

    path: KeyPath
    item: Any
    name: str | None  # fact or rule; None for a group


def with_parts(rule: Entry, change: Entry, faults: list[RuleFault]) -> Entry:
    """Return a rule with the parts of its condition as a change wants them; mistakes are added to `faults`."""
    for index in range(len(change.item.get("parts") or ())):
        part = change.part("parts", index)
        mistake = _mistake(part)
        if mistake is not None:
            faults.append(mistake)
            continue
        kind = next(kind for kind in CHANGED_BY if part.item.get(kind) is not None)
        rule = _marked(CHANGED_BY[kind](rule, part, faults), part)
    return rule


def _mistake(part: Entry) -> RuleFault | None:
    kinds = [kind for kind in CHANGED_BY if part.item.get(kind) is not None]
    if len(kinds) != 1:
        return part.fault((), "wrong-change", "a part either replaces, removes or adds a condition")
    if (kinds == ["replace"]) != (part.item.get("with") is not None):
        return part.fault((), "wrong-change", "`replace` names a part, and `with` beside it says what takes its place")
    if part.item.get("beside") is not None and kinds != ["add"]:
        return part.fault(("beside",), "wrong-change", "only what is added stands beside another part")
    return None


def _replace(rule: Entry, part: Entry, faults: list[RuleFault]) -> Entry:
    addressed = _addressed(rule, part, "replace", faults)
    return rule if addressed is None else _grafted(rule, addressed.path, part.part("with"))


def _remove(rule: Entry, part: Entry, faults: list[RuleFault]) -> Entry:
    addressed = _addressed(rule, part, "remove", faults)
    if addressed is None:
        return rule
    if addressed.path == WHEN or len(_at(rule.item, addressed.path[:-1])) == 1:
        detail = "it is the only condition of its group; remove the group, or replace it"
        faults.append(part.fault(("remove",), "wrong-change", detail))
        return rule
    return _without(rule, addressed.path)


def _add(rule: Entry, part: Entry, faults: list[RuleFault]) -> Entry:
    """Add a condition to the group that holds the part it is to stand beside; where none is named, it must hold as well."""
    group: KeyPath = (*WHEN, "all")
    if part.item.get("beside") is not None:
        addressed = _addressed(rule, part, "beside", faults)
        if addressed is None:
            return rule
        if addressed.path != WHEN:
            group = addressed.path[:-1]
    if not isinstance(_at(rule.item, group), list):
        rule = _wrapped(rule)
    return _grafted(rule, (*group, len(_at(rule.item, group))), part.part("add"))


CHANGED_BY: Mapping[str, Callable[[Entry, Entry, list[RuleFault]], Entry]] = {
    "replace": _replace, "remove": _remove, "add": _add
}  # fmt: skip


def _addressed(rule: Entry, part: Entry, key: str, faults: list[RuleFault]) -> ConditionPart | None:
    address = part.item[key]
    conditions = list(_walk(rule.item.get("when"), WHEN))
    matches = [condition for condition in conditions if address in (condition.name, condition.item)]
    if len(matches) == 1:
        return matches[0]
    name = rule.item.get("id")
    if not matches:
        names = dict.fromkeys(condition.name for condition in conditions if condition.name is not None)
        detail = f"no part of the `when` of '{name}' is {abridged(address)}"
        faults.append(part.fault((key,), "unknown-part", detail, near(address, names)))
        return None
    lines = ", ".join(str(rule.origin.position((*rule.path, *match.path)).line) for match in matches)
    detail = f"{abridged(address)} is {len(matches)} times in the `when` of '{name}' (lines {lines})"
    hint = "write it as it stands: `{fact: {below: 5}}`" if isinstance(address, str) else "replace the group around it"
    faults.append(part.fault((key,), "ambiguous-part", detail, hint))
    return None


def _walk(condition: Any, path: KeyPath) -> Iterator[ConditionPart]:
    """Yield every condition within one, itself first. What is no condition is passed over: it is named elsewhere."""
    if not isinstance(condition, dict) or len(condition) != 1:
        return
    ((key, inner),) = condition.items()
    if key not in GROUPS:
        yield ConditionPart(path, condition, str(inner) if key == "finding" else key)
        return
    yield ConditionPart(path, condition, None)
    for index, part in enumerate(inner if isinstance(inner, list) else ()):
        yield from _walk(part, (*path, key, index))


def _at(item: Any, path: KeyPath) -> Any:
    for key in path:
        if isinstance(item, dict):
            item = item.get(key)
        else:
            item = item[key] if isinstance(item, list) and isinstance(key, int) else None
    return item


def _with(item: Any, path: KeyPath, value: Any) -> Any:
    """Return an item with a value at a path; the place behind the last of a list is one."""
    if not path:
        return value
    key, *rest = path
    if isinstance(item, list) and isinstance(key, int):
        inner = item[key] if key < len(item) else None
        return [*item[:key], _with(inner, tuple(rest), value), *item[key + 1 :]]
    return {**item, key: _with(item.get(key), tuple(rest), value)}


def _grafted(rule: Entry, path: KeyPath, written: Entry) -> Entry:
    """Return a rule with what is written elsewhere at a path; it keeps the places where it is written."""
    root = (*rule.path, *path)
    kept = {at: position for at, position in rule.origin.positions.items() if at[: len(root)] != root}
    depth = len(written.path)
    laid = {(*root, *at[depth:]): position for at, position in written.origin.positions.items()
            if at[:depth] == written.path}  # fmt: skip
    return Entry(Origin(rule.origin.name, kept | laid), rule.path, _with(rule.item, path, written.item))


def _without(rule: Entry, path: KeyPath) -> Entry:
    """Return a rule without the item of a list at a path."""
    group, index = path[:-1], path[-1]
    root = (*rule.path, *group)
    assert isinstance(index, int)
    positions = {}
    for at, position in rule.origin.positions.items():
        number = at[len(root)] if at[: len(root)] == root and len(at) > len(root) else None
        if number is None or (isinstance(number, int) and number < index):
            positions[at] = position
        elif isinstance(number, int) and number > index:
            positions[*root, number - 1, *at[len(root) + 1 :]] = position
    items = _at(rule.item, group)
    kept = [*items[:index], *items[index + 1 :]]
    return Entry(Origin(rule.origin.name, positions), rule.path, _with(rule.item, group, kept))


def _wrapped(rule: Entry) -> Entry:
    """Return a rule whose condition is the only one of an `all`."""
    root = (*rule.path, *WHEN)
    positions = {
        (*root, "all", 0, *at[len(root) :]) if at[: len(root)] == root else at: position
        for at, position in rule.origin.positions.items()
    }
    positions[root] = rule.origin.position(root)
    return Entry(Origin(rule.origin.name, positions), rule.path, {**rule.item, "when": {"all": [rule.item["when"]]}})


def _marked(rule: Entry, part: Entry) -> Entry:
    """Return a rule whose condition stands where a layer changes it: what is wrong with it as a whole is so there."""
    positions = {**rule.origin.positions, (*rule.path, *WHEN): part.origin.position(part.path)}
    return Entry(Origin(rule.origin.name, positions), rule.path, rule.item)
