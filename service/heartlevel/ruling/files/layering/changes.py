"""What a layer's own file may say: of itself, of the layers below it, and in each of its changes."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from re import sub
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.ruling.language.ruleset import Layer

WHOLE = ("ruleset", "urgency")  # there is one of each
REPLACED = ("when",)  # a condition is replaced whole, though it is written as a mapping
CAN_BE_OFF = ("rule", "fact")
NEVER_SET = {"fact": ("name",)}  # of the others: what they are and are called by
OTHERWISE = ("id", "scope", "language", "pattern")
ABSENT = object()


def layer_id(head: Mapping[str, Any]) -> str:
    """Return the id of a layer: the one written in its head, else its name in small letters with hyphens."""
    return str(head.get("id") or sub("[^a-z0-9]+", "-", str(head.get("name")).lower()).strip("-") or "layer")


def misplaced(top: Entry, below: Sequence[Layer]) -> Iterator[RuleFault]:
    """Yield why a layer cannot lie where it does: its id is taken, or a layer that it needs is not below, or another."""
    own = layer_id(top.item)
    lower = {layer.id: layer for layer in below}
    if own in lower:
        written = ("id",) if "id" in top.item else ("name",)
        yield top.fault(written, "repeated-id", f"the layer '{own}' ({lower[own].name}) lies below already")
    for index, need in enumerate(top.item.get("needs") or ()):
        name, wanted = need["id"], need.get("fingerprint")
        if name not in lower:
            detail = f"the layer '{name}' does not lie below this one"
            yield top.fault(("needs", index, "id"), "unmet-need", detail, near(name, list(lower)))
        elif wanted not in (None, lower[name].fingerprint):
            detail = f"'{name}' (revision {lower[name].revision}) has the fingerprint {lower[name].fingerprint}"
            yield top.fault(("needs", index, "fingerprint"), "unmet-need", detail)


def mistakes(change: Entry) -> Iterator[RuleFault]:
    """Yield what no change may say, whatever it changes."""
    kind, off, setting, parts = change.item["of"], *(change.item.get(key) for key in ("off", "set", "parts"))
    if bool(off) == bool(setting or parts):
        yield change.fault((), "wrong-change", "a change either switches off or sets something")
    if off and kind not in CAN_BE_OFF:
        yield change.fault(("off",), "wrong-change", "only a rule or a fact can be switched off")
    if parts and kind != "rule":
        yield change.fault(("parts",), "wrong-change", "only a rule has parts")
    if parts and "when" in mapping(setting):
        yield change.fault(("parts",), "wrong-change", "`when` is either set whole or changed in parts")
    if (kind in WHOLE) == bool(change.item.get("id")):
        yield change.fault((), "wrong-change", "every change but one of the ruleset or of urgency names an id")
    if not change.item["reason"].strip():
        yield change.fault(("reason",), "text-length", "the reason is blank")
    if setting is not None and not isinstance(setting, dict):
        yield change.fault(("set",), "not-an-object", "expected the fields to change, by name")
    for name in NEVER_SET.get(kind, OTHERWISE):
        if isinstance(setting, dict) and name in setting:
            own = "fact" if kind == "fact" else "rule"
            yield change.fault(("set", name), "wrong-change", f"{name} cannot be changed; add a {own} of your own")


def contradicting(changes: Sequence[Entry]) -> Iterator[RuleFault]:
    """Yield each change that says otherwise than one before it in the same layer."""
    for first, second in combinations(changes, 2):
        if (first.item["of"], first.item.get("id")) != (second.item["of"], second.item.get("id")):
            continue
        line = first.origin.position(first.path).line
        if first.item.get("off") or second.item.get("off"):
            yield second.fault((), "contradicting", f"line {line} of this layer changes or switches off the same rule")
            continue
        ours, theirs = (mapping(change.item, "set") for change in (first, second))
        if second.item.get("parts") and (first.item.get("parts") or "when" in ours):
            yield second.fault(("parts",), "contradicting", f"line {line} of this layer changes the same `when`",
                               "list all parts in one change")  # fmt: skip
        if first.item.get("parts") and "when" in theirs:
            yield second.fault(("set", "when"), "contradicting", f"line {line} of this layer changes parts of it")
        for path in replaced_paths(theirs):
            other = _written(ours, path)
            if other is not ABSENT and other != _written(theirs, path):
                detail = f"{'.'.join(map(str, path))} is set otherwise in line {line} of this layer"
                yield second.fault(("set", *path), "contradicting", detail)


def _written(fields: Any, path: KeyPath) -> Any:
    for key in path:
        fields = fields.get(key, ABSENT) if isinstance(fields, dict) else ABSENT
    return fields


def replaced_paths(fields: Mapping[str, Any]) -> Iterator[KeyPath]:
    """Yield the path of each field that is set whole."""
    for name, value in fields.items():
        if isinstance(value, Mapping) and name not in REPLACED:
            yield from ((name, *path) for path in replaced_paths(value))
        else:
            yield (name,)
