"""A clinic's own directory laid over the rules: things switched off, changed or added, each with its reason.

A layer's `layer.yaml` lists changes; its folders, named as in the rules, add whole rules and profiles.
"""

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.content import Content, content_of, is_valid, key_of
from heartlevel.ruling.schema import LayerBlock
from heartlevel.ruling.sense import unmoved_categories
from heartlevel.ruling.source import Origin, Path_, RuleFault, Written, mapping
from heartlevel.ruling.urgency import loosened
from heartlevel.vocabulary import SCOPES

TOP = "layer.yaml"
SECTIONS_OF = {"rule": SCOPES, "guideline": ("guidelines",), "protocol": ("protocols",), "wording": ("wording",)}
REPLACED = ("when",)  # a condition is one thing, though it is written as a mapping
WORDING = {"title", "explanation", "advice", "next_step", "sources"}  # what may be changed of an urgent rule
NEVER_SET = ("id", "scope", "language")


@dataclass(frozen=True, slots=True)
class Change:
    """One change a layer makes, and why."""

    layer: str
    kind: str
    id: str
    off: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer as it was applied."""

    name: str
    revision: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Overlaid:
    """Where the parts of a changed item stand: in the layer what it sets, else in the file below."""

    below: Origin
    above: Origin
    start: Path_  # of the item in the file below
    at: Path_  # of `set` in the layer
    set: Mapping[str, Any]

    @property
    def name(self) -> str:
        """Name of the file below."""
        return self.below.name

    def fault(self, path: Path_, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault in whichever file says what is at fault."""
        inside = path[len(self.start) :]
        origin, at = (self.above, (*self.at, *inside)) if self._sets(inside) else (self.below, path)
        return origin.fault(at, code, detail, hint)

    def sets(self, path: Path_) -> bool:
        """Say whether this layer or one below it writes what stands at a path."""
        return self._sets(path[len(self.start) :]) or self.below.sets(path)

    def _sets(self, steps: Path_) -> bool:
        here: Any = self.set
        for step in steps:
            if not isinstance(here, Mapping):
                return True
            if step not in here:
                return False
            if step in REPLACED:
                return True
            here = here[step]
        return bool(steps)


def lay(content: Content, folder: Path, faults: list[RuleFault]) -> Layer | None:
    """Lay a clinic's directory over the content, in place; None if the layer's own file has mistakes."""
    above = content_of(folder, TOP, faults, layered=True)
    if above.top is None or not is_valid(LayerBlock(), above.top, faults):
        return None
    file, _, data = above.top
    below = list(content.items["guidelines"])
    made = tuple(_changed(content, file, place, change, faults, data["name"])
                 for place, change in enumerate(data.get("changes") or ()))  # fmt: skip
    for section, items in above.items.items():
        content.items[section] += items
    for judge in (loosened, unmoved_categories):
        faults += judge(below, content.items["guidelines"])
    return Layer(data["name"], data["revision"], made)


def _changed(
    content: Content, file: Origin, place: int, change: Mapping[str, Any], faults: list[RuleFault], layer: str
) -> Change:
    at: Path_ = ("changes", place)
    faults += _at_fault(file, at, change)
    if change["of"] == "ruleset":
        if content.top is not None:
            content.top = _set(content.top, file, (*at, "set"), change.get("set") or {})
    else:
        _change_item(content, file, at, change, faults)
    return Change(layer, change["of"], change.get("id") or "", bool(change.get("off")), change["reason"])


def _at_fault(file: Origin, at: Path_, change: Mapping[str, Any]) -> Iterator[RuleFault]:
    of, off, to = change["of"], change.get("off"), change.get("set")
    if bool(off) == bool(to):
        yield file.fault(at, "wrong-change", "a change either switches off or sets something")
    if off and of != "rule":
        yield file.fault((*at, "off"), "wrong-change", "only a rule can be switched off")
    if (of == "ruleset") == bool(change.get("id")):
        yield file.fault(at, "wrong-change", "every change but one of the ruleset names an id")
    if to is not None and not isinstance(to, dict):
        yield file.fault((*at, "set"), "not-an-object", "expected the fields to change, by name")
    for name in NEVER_SET:
        if isinstance(to, dict) and name in to:
            yield file.fault((*at, "set", name), "wrong-change", f"{name} cannot be changed; add a rule of your own")


def _change_item(content: Content, file: Origin, at: Path_, change: Mapping[str, Any], faults: list[RuleFault]) -> None:
    sections = SECTIONS_OF[change["of"]]
    named = {
        item.get(key_of(section)): (section, place)
        for section in sections
        for place, (_, _, item) in enumerate(content.items[section])
        if isinstance(item, dict)
    }
    wanted = change.get("id")
    if wanted not in named:
        detail = f"there is no {change['of']} '{wanted}' to change"
        faults.append(file.fault((*at, "id"), "unknown-name", detail, near(wanted, [one for one in named if one])))
        return
    section, place = named[wanted]
    items = content.items[section]
    if change.get("off"):
        faults += _not_to_be_missed(file, at, items[place], items)
        del items[place]
    elif isinstance(change.get("set"), dict):
        faults += _muted(file, (*at, "set"), items[place][2], change["set"])
        items[place] = _set(items[place], file, (*at, "set"), change["set"])


def _muted(file: Origin, at: Path_, item: Mapping[str, Any], to: Mapping[str, Any]) -> Iterator[RuleFault]:
    """Yield each change after which an urgent value would no longer be named."""
    if item.get("urgent"):
        for name in sorted(to.keys() - WORDING):
            detail = f"'{item['id']}' names values that may need help now; only its wording can be changed"
            yield file.fault((*at, name), "urgent-rule", detail)
    below, above = (mapping(mapping(one.get("limits")).get("severe")) for one in (item, to))
    for pressure, limit in above.items():
        if isinstance(limit, (int, float)) and limit > below.get(pressure, limit):
            detail = f"severe {pressure} {limit:g} is above the {below[pressure]:g} below: values between would go unnamed"
            yield file.fault((*at, "limits", "severe", pressure), "urgent-rule", detail)
    days, least = to.get("after_birth_days"), item.get("after_birth_days")
    if isinstance(days, (int, float)) and isinstance(least, (int, float)) and days < least:
        detail = f"after_birth_days {days:g} is below the {least:g} below: severe values in between would go unnamed"
        yield file.fault((*at, "after_birth_days"), "urgent-rule", detail)


def _not_to_be_missed(file: Origin, at: Path_, written: Written, items: list[Written]) -> Iterator[RuleFault]:
    """Yield why a rule cannot be switched off: it is urgent, or another rule builds on it."""
    name = written[2]["id"]
    if written[2].get("urgent"):
        yield file.fault(at, "urgent-rule", f"'{name}' names values that may need help now; it cannot be switched off")
        return
    for _, _, other in items:
        if isinstance(other, dict) and name in _mentions(other.get("when")):
            hint = "switch that one off before this one, or give it another `when`"
            yield file.fault(at, "still-mentioned", f"'{other['id']}' builds on '{name}'", hint)


def _mentions(condition: Any) -> Iterator[str]:
    if isinstance(condition, list):
        for part in condition:
            yield from _mentions(part)
    elif isinstance(condition, dict):
        for key, inner in condition.items():
            yield from [inner] if key == "finding" else _mentions(inner)


def _set(written: Written, file: Origin, at: Path_, to: Mapping[str, Any]) -> Written:
    below, path, item = written
    return Overlaid(below, file, path, at, to), path, merged(item, to)


def merged(item: Any, to: Any) -> Any:
    """Return an item with some of its fields set; mappings are merged, everything else is replaced."""
    if not (isinstance(item, dict) and isinstance(to, Mapping)):
        return deepcopy(to)
    return item | {name: merged(None if name in REPLACED else item.get(name), value) for name, value in to.items()}
