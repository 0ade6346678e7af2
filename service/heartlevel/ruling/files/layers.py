"""A clinic's own directory laid over the rules: things switched off, changed or added, each with its reason.

A layer's `layer.yaml` lists changes; its folders, named as in the rules, add whole rules and profiles.
"""

from collections.abc import Iterator, Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.files.content import Content, content_of, is_valid, key_of
from heartlevel.ruling.files.schema import LayerBlock
from heartlevel.ruling.files.sense import unmoved_categories
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.files.urgency.guard import loosened, lowered, muted
from heartlevel.ruling.language.faults import Entry, KeyPath, Origin, RuleFault
from heartlevel.ruling.language.ruleset import Change, Layer
from heartlevel.vocabulary import SCOPES

TOP = "layer.yaml"
SECTIONS_OF = {"rule": SCOPES, "guideline": ("guidelines",), "protocol": ("protocols",), "wording": ("wording",)}
WHOLE = ("ruleset", "urgency")  # there is one of each
REPLACED = ("when",)  # a condition is replaced whole, though it is written as a mapping
NEVER_SET = ("id", "scope", "language")


def lay(content: Content, folder: Path, faults: list[RuleFault]) -> Layer | None:
    """Lay a clinic's directory over the content, in place; None if the layer's own file has mistakes."""
    above = content_of(folder, TOP, faults, layered=True)
    if above.top is None or not is_valid(LayerBlock(), above.top, faults):
        return None
    head = above.top.item
    guidelines_below = list(content.items["guidelines"])
    changes = [above.top.part("changes", index) for index in range(len(head.get("changes") or ()))]
    for change in changes:
        _apply(content, change, faults)
    for section, entries in above.items.items():
        content.items[section] += entries
    for judge in (loosened, unmoved_categories):
        faults += judge(guidelines_below, content.items["guidelines"])
    return Layer(head["name"], head["revision"], tuple(_change(change.item) for change in changes))


def _change(change: Mapping[str, Any]) -> Change:
    return Change(change["of"], change.get("id") or "", bool(change.get("off")), change["reason"])


def _apply(content: Content, change: Entry, faults: list[RuleFault]) -> None:
    faults += _mistakes(change)
    if change.item["of"] not in WHOLE:
        _change_item(content, change, faults)
    elif change.item["of"] == "ruleset" and content.top is not None:
        content.top = _with_set(content.top, change)
    elif change.item["of"] == "urgency" and content.ladder is not None:
        changed = _with_set(content.ladder, change)
        faults += lowered(changed, content.ladder.item)
        content.ladder = changed


def _mistakes(change: Entry) -> Iterator[RuleFault]:
    kind, off, setting = change.item["of"], change.item.get("off"), change.item.get("set")
    if bool(off) == bool(setting):
        yield change.fault((), "wrong-change", "a change either switches off or sets something")
    if off and kind != "rule":
        yield change.fault(("off",), "wrong-change", "only a rule can be switched off")
    if (kind in WHOLE) == bool(change.item.get("id")):
        yield change.fault((), "wrong-change", "every change but one of the ruleset or of urgency names an id")
    if setting is not None and not isinstance(setting, dict):
        yield change.fault(("set",), "not-an-object", "expected the fields to change, by name")
    for name in NEVER_SET:
        if isinstance(setting, dict) and name in setting:
            yield change.fault(("set", name), "wrong-change", f"{name} cannot be changed; add a rule of your own")


def _change_item(content: Content, change: Entry, faults: list[RuleFault]) -> None:
    kind, name = change.item["of"], change.item.get("id")
    named = {
        own_name: (section, index)
        for section in SECTIONS_OF[kind]
        for index, entry in enumerate(content.items[section])
        if isinstance(own_name := mapping(entry.item).get(key_of(section)), str)  # nothing is checked yet
    }
    if name not in named:
        detail = f"there is no {kind} '{name}' to change"
        faults.append(change.fault(("id",), "unknown-name", detail, near(name, list(named))))
        return
    section, index = named[name]
    entries = content.items[section]
    if change.item.get("off"):
        faults += _not_to_be_missed(change, entries[index], entries)
        del entries[index]
    elif isinstance(change.item.get("set"), dict):
        faults += muted(change.part("set"), entries[index].item)
        entries[index] = _with_set(entries[index], change)


def _not_to_be_missed(change: Entry, rule: Entry, rules: list[Entry]) -> Iterator[RuleFault]:
    """Yield why a rule cannot be switched off: it is urgent, or another rule builds on it."""
    name = rule.item["id"]
    if rule.item.get("urgent"):
        yield change.fault((), "urgent-rule", f"'{name}' names values that may need help now; it cannot be switched off")
        return
    for _, _, other in rules:
        if isinstance(other, dict) and name in _mentions(other.get("when")):
            hint = "switch that one off before this one, or give it another `when`"
            yield change.fault((), "still-mentioned", f"'{other['id']}' builds on '{name}'", hint)


def _mentions(condition: Any) -> Iterator[str]:
    if isinstance(condition, list):
        for part in condition:
            yield from _mentions(part)
    elif isinstance(condition, dict):
        for key, inner in condition.items():
            yield from [inner] if key == "finding" else _mentions(inner)


def _with_set(below: Entry, change: Entry) -> Entry:
    """Return an item as a change sets it; each part of it is then at fault where it is written."""
    fields = change.item.get("set") or {}
    replaced = {(*below.path, *path) for path in _replaced(fields)}
    kept = {
        path: position
        for path, position in below.origin.positions.items()
        if replaced.isdisjoint(path[:length] for length in range(len(path)))
    }
    setting = (*change.path, "set")
    laid = {
        (*below.path, *path[len(setting) :]): position
        for path, position in change.origin.positions.items()
        if path[: len(setting)] == setting != path
    }
    return Entry(Origin(below.origin.name, kept | laid), below.path, merged(below.item, fields))


def _replaced(fields: Mapping[str, Any]) -> Iterator[KeyPath]:
    """Yield the path of each field that is set whole."""
    for name, value in fields.items():
        if isinstance(value, Mapping) and name not in REPLACED:
            yield from ((name, *path) for path in _replaced(value))
        else:
            yield (name,)


def merged(item: Any, fields: Any) -> Any:
    """Return an item with some of its fields set; mappings are merged, everything else is replaced."""
    if not (isinstance(item, dict) and isinstance(fields, Mapping)):
        return deepcopy(fields)
    return item | {name: merged(None if name in REPLACED else item.get(name), value) for name, value in fields.items()}
