"""An object of a request while it is filled: values with the places they come from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from heartlevel.fhir.names import OWN_DETAILS
from heartlevel.fhir.reading.element import Element
from heartlevel.intake.blocks.members import fields_within
from heartlevel.intake.faults import escaped
from heartlevel.intake.fields import Block, Items
from heartlevel.intake.schema import Device, Reading, Subject

BLOCKS: Mapping[str, Block] = {"Observation": Reading(), "Device": Device(), "Patient": Subject()}
NONE_OF = ".none"  # after the name of a list: asked for, and there was none


@dataclass(slots=True)
class Filling:
    """An object of the request, and by JSON Pointer within it where its parts stand in what was sent."""

    at: str
    values: dict[str, Any] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)

    def put(self, name: str, value: Any, at: str) -> None:
        """Put a value at a dotted name unless there is one."""
        *outer, last = name.split(".")
        whole, pointer = self.values, ""
        for key in outer:
            inner = whole.setdefault(key, {})
            whole, pointer = inner if isinstance(inner, dict) else {}, f"{pointer}/{escaped(key)}"
        if last not in whole:
            whole[last] = value
            self.origins[f"{pointer}/{escaped(last)}"] = at

    def value_of(self, name: str) -> Any:
        """Return the value at a dotted name; None where there is none."""
        inner: Any = self.values
        for key in name.split("."):
            inner = inner.get(key) if isinstance(inner, dict) else None
        return inner

    def add(self, name: str, item: Any, at: str) -> None:
        """Add an item to a list."""
        listed = self.values.setdefault(name, [])
        if isinstance(listed, list):
            self.origins.setdefault(f"/{escaped(name)}", at)
            self.origins[f"/{escaped(name)}/{len(listed)}"] = at
            listed.append(item)

    def placed(self, pointer: str) -> dict[str, str]:
        """Return where its parts stand, by pointers into the request; `pointer` is its own."""
        return {pointer: self.at} | {pointer + inner: at for inner, at in self.origins.items()}


def take_own_details(filling: Filling, resource: Element) -> None:
    """Take what FHIR has no element or code for: the parts of our own extension."""
    kind = str(resource.kind)
    for extension in resource.extensions(OWN_DETAILS[kind]):
        for part in extension.each("extension"):
            name, value = part.part("url").text or "", part.choice("value")
            if name.removesuffix(NONE_OF) in _lists(kind) and name.endswith(NONE_OF):
                filling.put(name.removesuffix(NONE_OF), [], value.at)
            elif name in _lists(kind):
                filling.add(name, value.value, value.at)
            else:
                filling.put(name, value.value, value.at)


@cache
def _lists(kind: str) -> frozenset[str]:
    """Return the fields of a resource's object that are lists."""
    return frozenset(".".join(path) for path, item in fields_within(BLOCKS[kind]) if isinstance(item, Items))
