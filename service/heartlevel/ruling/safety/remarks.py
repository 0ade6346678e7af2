"""What the checks of layers say: mistakes, and what is unusual and has to be meant."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.ruling.language.ruleset import RuleSet


@dataclass(frozen=True, slots=True)
class Unusual:
    """Something that may be meant, and that has to be answered with a reason in a layer."""

    kind: str  # of the item: rule, guideline ...
    id: str
    entry: Entry
    path: KeyPath
    detail: str

    def fault(self) -> RuleFault:
        """Return it as the mistake it is without a reason."""
        named = f"{{of: {self.kind}, id: {self.id}, reason: ...}}" if self.id else f"{{of: {self.kind}, reason: ...}}"
        return self.entry.fault(self.path, "unusual", self.detail, f"if it is meant: `unusual: [{named}]` in layer.yaml")


def unanswered(ruleset: RuleSet, remarks: Iterable[Unusual]) -> Iterator[RuleFault]:
    """Yield what is unusual and has no reason, and each reason that answers nothing."""
    answers = {
        (item["of"], item.get("id") or ""): (layer.entry, index)
        for layer in ruleset.layers
        for index, item in enumerate(layer.entry.item.get("unusual") or ())
    }
    needed = set()
    for remark in remarks:
        needed.add((remark.kind, remark.id))
        if (remark.kind, remark.id) not in answers:
            yield remark.fault()
    for (kind, name), (entry, index) in answers.items():
        if (kind, name) not in needed:
            yield entry.fault(("unusual", index), "unknown-name", f"nothing is unusual about {kind} {name}".rstrip())
