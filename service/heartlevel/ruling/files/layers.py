"""A clinic's own directory laid over the rules: things switched off, changed or added, each with its reason.

A layer's `layer.yaml` lists changes; its folders, named as in the rules, add whole rules and profiles.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from pathlib import Path
from re import escape, search
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.files.content import FACTS, Content, content_of, is_valid, key_of
from heartlevel.ruling.files.directories.listing import top_in
from heartlevel.ruling.files.layering.changes import (
    REPLACED,
    WHOLE,
    contradicting,
    layer_id,
    misplaced,
    mistakes,
    replaced_paths,
)
from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.files.layering.parts import with_parts
from heartlevel.ruling.files.patients.reading import patients_below
from heartlevel.ruling.files.sense import unmoved_categories
from heartlevel.ruling.files.source import mapping, source_file
from heartlevel.ruling.files.urgency.guard import loosened, lowered, muted
from heartlevel.ruling.language.faults import Entry, KeyPath, Origin, RuleFault
from heartlevel.ruling.language.ruleset import Change, Layer
from heartlevel.vocabulary import SCOPES

TOP = "layer.yaml"
SECTIONS_OF = {
    "rule": SCOPES,
    "guideline": ("guidelines",),
    "protocol": ("protocols",),
    "wording": ("wording",),
    "fact": (FACTS,),
}


def lay(content: Content, folder: Path, faults: list[RuleFault], below: Sequence[Layer] = ()) -> Layer | None:
    """Lay a clinic's directory over the content, in place; None if the layer's own file has mistakes.

    `below` are the layers laid before.
    """
    above = content_of(folder, TOP, faults, layered=True)
    if above.top is None or not is_valid(LayerBlock(), above.top, faults):
        return None
    head = above.top.item
    name, fingerprint = layer_id(head), above.fingerprint()
    faults += misplaced(above.top, below)
    guidelines_below = list(content.items["guidelines"])
    changes = [above.top.part("changes", index) for index in range(len(head.get("changes") or ()))]
    faults += contradicting(changes)
    applied = [_change(change, name, _apply(content, change, faults)) for change in changes]
    for section, entries in above.items.items():
        content.items[section] += entries
    for judge in (loosened, unmoved_categories):
        faults += judge(guidelines_below, content.items["guidelines"])
    own_patients = tuple(patients_below(folder, faults, layered=True))
    return Layer(
        name, head["name"], head["revision"], fingerprint, tuple(applied), above.top, _added(above),
        above.files_read(), own_patients,
    )  # fmt: skip


def _added(above: Content) -> frozenset[tuple[str, str]]:
    return frozenset(
        (kind, str(mapping(entry.item).get(key_of(section))))
        for kind, sections in SECTIONS_OF.items()
        for section in sections
        for entry in above.items[section]
    )


def replacing(layers: Sequence[Path], candidate: Path) -> tuple[Path, ...]:
    """Return the layers with a candidate in the place of the one of its id, or on top of all.

    The same folder is one of the same id, whatever is written in it.
    """
    name, same = id_in(candidate), candidate.resolve()
    numbers = [index for index, folder in enumerate(layers) if folder.resolve() == same or id_in(folder) == name]
    if not numbers:
        return (*layers, candidate)
    return tuple(
        candidate if index == numbers[0] else folder for index, folder in enumerate(layers) if index not in numbers[1:]
    )


def id_in(folder: Path) -> str:
    """Return the id of the layer in a folder; of one whose own file cannot be read, its folder's name."""
    head = source_file(top_in(folder, TOP) or folder / TOP, TOP).data
    return layer_id(head) if isinstance(head, dict) else folder.name


def _change(change: Entry, layer: str, replaced: Mapping[str, Any]) -> Change:
    item, position = change.item, change.origin.position(change.path)
    off = bool(item.get("off"))
    return Change(item["of"], item.get("id") or "", off, item["reason"], layer, position.file, position.line, replaced)


def _apply(content: Content, change: Entry, faults: list[RuleFault]) -> Mapping[str, Any]:
    """Make a change, and return what stood there before."""
    faults += mistakes(change)
    if change.item["of"] not in WHOLE:
        return _change_item(content, change, faults)
    if change.item["of"] == "ruleset" and content.top is not None:
        before, content.top = content.top, _with_set(content.top, change)
        return _before(before, change)
    if change.item["of"] == "urgency" and content.ladder is not None:
        before, changed = content.ladder, _with_set(content.ladder, change)
        faults += lowered(changed, content.ladder.item)
        content.ladder = changed
        return _before(before, change)
    return {}


def _before(below: Entry, change: Entry) -> Mapping[str, Any]:
    """Return what stood in the fields that a change sets, by dotted name; null where nothing did."""
    fields = change.item.get("set")
    paths = replaced_paths(fields) if isinstance(fields, dict) else ()
    return {".".join(map(str, path)): _at(below.item, path) for path in paths}


def _at(item: Any, path: KeyPath) -> Any:
    for key in path:
        item = mapping(item).get(str(key))
    return item


def _change_item(content: Content, change: Entry, faults: list[RuleFault]) -> Mapping[str, Any]:
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
        return {}
    section, index = named[name]
    entries = content.items[section]
    below = entries[index]
    if change.item.get("off"):
        if kind == "fact":
            faults += _still_told_of(change, content)
            del entries[index]
        else:
            faults += _not_to_be_missed(change, below, entries)
            content.silenced.append(entries.pop(index))
        return mapping(below.item)
    if isinstance(change.item.get("set"), dict):
        faults += muted(change.part("set"), below.item)
        entries[index] = _with_set(below, change)
    if not change.item.get("parts") or "when" not in mapping(below.item):
        return _before(below, change)
    entries[index] = with_parts(entries[index], change, faults)
    return {**_before(below, change), "when": below.item.get("when")}


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


def _still_told_of(change: Entry, content: Content) -> Iterator[RuleFault]:
    """Yield each rule below that speaks of a fact to be switched off."""
    name = change.item["id"]
    for entry in (entry for scope in SCOPES for entry in content.items[scope]):
        if search(rf"\b{escape(name)}\b", json.dumps(entry.item)):
            hint = "switch that one off before the fact, or change what it says"
            detail = f"'{mapping(entry.item).get('id')}' speaks of '{name}'"
            yield change.fault((), "still-mentioned", detail, hint)


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
    replaced = {(*below.path, *path) for path in replaced_paths(fields)}
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


def merged(item: Any, fields: Any) -> Any:
    """Return an item with some of its fields set; mappings are merged, everything else is replaced."""
    if not (isinstance(item, dict) and isinstance(fields, Mapping)):
        return deepcopy(fields)
    return item | {name: merged(None if name in REPLACED else item.get(name), value) for name, value in fields.items()}
