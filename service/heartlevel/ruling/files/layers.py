"""A clinic's own directory laid over the rules: things switched off, changed or added, each with its reason.

A layer's `layer.yaml` lists changes; its folders, named as in the rules, add whole rules and profiles.
"""

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.files.content import Content, content_of, is_valid, key_of
from heartlevel.ruling.files.schema import LayerBlock
from heartlevel.ruling.files.sense import unmoved_categories
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.files.urgency import loosened
from heartlevel.ruling.language.faults import Entry, KeyPath, Origin, RuleFault
from heartlevel.ruling.language.ruleset import Change, Layer
from heartlevel.vocabulary import SCOPES

TOP = "layer.yaml"
SECTIONS_OF = {"rule": SCOPES, "guideline": ("guidelines",), "protocol": ("protocols",), "wording": ("wording",)}
REPLACED = ("when",)  # a condition is replaced whole, though it is written as a mapping
WORDING = {"title", "explanation", "advice", "next_step", "sources"}  # what may be changed of an urgent rule
NEVER_SET = ("id", "scope", "language")


@dataclass(frozen=True, slots=True)
class Overlaid:
    """The origin of a changed item: in the layer stands what the layer sets, in the file below all else."""

    below: Origin
    start: KeyPath  # of the item in the file below
    setting: Entry  # `set` in the layer

    @property
    def name(self) -> str:
        """Name of the file below."""
        return self.below.name

    def fault(self, path: KeyPath, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault in whichever file writes what is at fault."""
        inside = path[len(self.start) :]
        if self._sets(inside):
            return self.setting.fault(inside, code, detail, hint)
        return self.below.fault(path, code, detail, hint)

    def sets(self, path: KeyPath) -> bool:
        """Say whether this layer or one below it writes what stands at a path."""
        return self._sets(path[len(self.start) :]) or self.below.sets(path)

    def _sets(self, inside: KeyPath) -> bool:
        here = self.setting.item
        for key in inside:
            if not isinstance(here, Mapping):
                return True
            if key not in here:
                return False
            if key in REPLACED:
                return True
            here = here[key]
        return bool(inside)


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
    return Layer(head["name"], head["revision"], tuple(_change(change.item, head["name"]) for change in changes))


def _change(change: Mapping[str, Any], layer: str) -> Change:
    return Change(layer, change["of"], change.get("id") or "", bool(change.get("off")), change["reason"])


def _apply(content: Content, change: Entry, faults: list[RuleFault]) -> None:
    faults += _mistakes(change)
    if change.item["of"] != "ruleset":
        _change_item(content, change, faults)
    elif content.top is not None:
        content.top = _with_set(content.top, change)


def _mistakes(change: Entry) -> Iterator[RuleFault]:
    kind, off, setting = change.item["of"], change.item.get("off"), change.item.get("set")
    if bool(off) == bool(setting):
        yield change.fault((), "wrong-change", "a change either switches off or sets something")
    if off and kind != "rule":
        yield change.fault(("off",), "wrong-change", "only a rule can be switched off")
    if (kind == "ruleset") == bool(change.item.get("id")):
        yield change.fault((), "wrong-change", "every change but one of the ruleset names an id")
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
        faults += _muted(change.part("set"), entries[index].item)
        entries[index] = _with_set(entries[index], change)


def _muted(setting: Entry, below: Mapping[str, Any]) -> Iterator[RuleFault]:
    """Yield each change after which an urgent value would no longer be named."""
    if below.get("urgent"):
        for name in sorted(setting.item.keys() - WORDING):
            detail = f"'{below['id']}' names values that may need help now; only its wording can be changed"
            yield setting.fault((name,), "urgent-rule", detail)
    before, after = (mapping(mapping(item.get("limits")).get("severe")) for item in (below, setting.item))
    for pressure, limit in after.items():
        if isinstance(limit, (int, float)) and limit > before.get(pressure, limit):
            detail = f"severe {pressure} {limit:g} is above the {before[pressure]:g} below: values between would go unnamed"
            yield setting.fault(("limits", "severe", pressure), "urgent-rule", detail)
    days, least = setting.item.get("after_birth_days"), below.get("after_birth_days")
    if isinstance(days, (int, float)) and isinstance(least, (int, float)) and days < least:
        detail = f"after_birth_days {days:g} is below the {least:g} below: severe values in between would go unnamed"
        yield setting.fault(("after_birth_days",), "urgent-rule", detail)


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
    setting = Entry(change.origin, (*change.path, "set"), fields)
    return Entry(Overlaid(below.origin, below.path, setting), below.path, merged(below.item, fields))


def merged(item: Any, fields: Any) -> Any:
    """Return an item with some of its fields set; mappings are merged, everything else is replaced."""
    if not (isinstance(item, dict) and isinstance(fields, Mapping)):
        return deepcopy(fields)
    return item | {name: merged(None if name in REPLACED else item.get(name), value) for name, value in fields.items()}
