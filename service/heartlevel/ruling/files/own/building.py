"""From what files declare to facts of one's own, with every mistake that shows only beside other declarations."""

import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import inf
from re import search
from typing import Any

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.faults import abridged
from heartlevel.intake.own.facts import OwnFact
from heartlevel.intake.own.form import PLAIN_FORM
from heartlevel.intake.written import letters_of
from heartlevel.ruling.files.own.units import is_unit, unit_meant
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.conditions import GROUPS
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.vocabulary import RECORDED_WITH

OF_KIND = {"number": ("unit", "range"), "choice": ("values",), "flag": ()}
EXAMPLES = {"unit": "unit: Cel", "range": "range: [5, 40]", "values": "values: [none, shirt, thick-sleeve]"}
# Words that mean something else in conditions and texts.
WORDS = (*GROUPS, "finding", "limit", "param")
# Columns of a batch that are no facts: what others are derived from.
COLUMNS = {field.fact for field in (*PLAIN_FORM.of_subjects, *PLAIN_FORM.of_readings, *PLAIN_FORM.of_devices)} | {
    "as_of", "period_number", "device_number"}  # fmt: skip
FIELDS = dict(zip(RECORDED_WITH, (PLAIN_FORM.lists["readings"], PLAIN_FORM.subject, PLAIN_FORM.device), strict=True))


@dataclass(frozen=True, slots=True)
class OwnFacts:
    """Facts of one's own that can be used, in order of their names; `at_fault` are names of others."""

    usable: tuple[OwnFact, ...]
    at_fault: frozenset[str]

    def are_sound_in(self, entry: Entry) -> bool:
        """Tell whether an item speaks of none that is at fault: what it says of such a one is no second mistake."""
        if not self.at_fault:
            return True
        return search(rf"\b({'|'.join(sorted(self.at_fault))})\b", json.dumps(entry.item)) is None


def own_facts_of(written: Sequence[Entry], valid: Sequence[Entry], faults: list[RuleFault]) -> OwnFacts:
    """Return the facts that the `valid` ones among the entries `written` declare; mistakes are added to `faults`."""
    facts: dict[str, OwnFact] = {}
    first: dict[str, Entry] = {}
    for entry in valid:
        name = entry.item["name"]
        if name in first:
            faults += _declared_again(entry, first[name])
            continue
        first[name] = entry
        taken = list(_taken(entry))
        faults += [*taken, *_mistakes(entry)]
        if not taken and (entry.item["kind"] != "choice" or entry.item.get("values")):
            facts[name] = _fact(entry.item)
    named = {mapping(entry.item).get("name") for entry in written}
    at_fault = {name for name in named if isinstance(name, str) and name.isidentifier()} - facts.keys() - CATALOGUE.keys()
    return OwnFacts(tuple(facts[name] for name in sorted(facts)), frozenset(at_fault))


def _fact(item: dict[str, Any]) -> OwnFact:
    low, high = item.get("range") or (-inf, inf)
    described = (item["name"], item["recorded_with"], item["kind"], item["meaning"])
    return OwnFact(*described, item.get("unit"), tuple(item.get("values") or ()), low, high)


def _declared_again(entry: Entry, first: Entry) -> Iterator[RuleFault]:
    """Yield a fault where a fact is declared otherwise than before; layers may share one that they declare alike."""
    if entry.item != first.item or entry.origin.name == first.origin.name:
        earlier = first.origin.position(first.path)
        detail = f"'{entry.item['name']}' is declared in {earlier.file}:{earlier.line} already"
        yield entry.fault(("name",), "repeated-id", detail, "to change it, list it under `changes` of your layer")


def _taken(entry: Entry) -> Iterator[RuleFault]:
    name, recorded_with = entry.item["name"], entry.item["recorded_with"]
    if name in CATALOGUE:
        fact = CATALOGUE[name]
        detail = f"'{name}' is a shipped fact of scope {fact.scope}: {fact.meaning}"
        yield entry.fault(("name",), "taken-name", detail, "use that one, if it is what you mean")
    elif name in WORDS or name in COLUMNS:
        yield entry.fault(("name",), "taken-name", f"'{name}' has another meaning in rules or requests")
    elif name in FIELDS[recorded_with].fields:
        yield entry.fault(("name",), "taken-name", f"'{name}' is a field of a {recorded_with} already")


def _mistakes(entry: Entry) -> Iterator[RuleFault]:
    """Yield what does not fit the kind of a fact."""
    item = entry.item
    kind, unit, limits = item["kind"], item.get("unit"), item.get("range")
    for key, example in EXAMPLES.items():
        wanted, given = key in OF_KIND[kind], item.get(key) is not None
        if wanted and not given:
            yield entry.fault(("kind",), "missing", f"{key}: required of a {kind}", f"such as `{example}`")
        elif given and not wanted:
            others = next(other for other, keys in OF_KIND.items() if key in keys)
            yield entry.fault((key,), "wrong-value", f"{key}: a {kind} has none", f"what has one is a {others}")
    if unit is not None and kind == "number" and not is_unit(unit):
        yield entry.fault(("unit",), "not-a-unit", f"{abridged(unit)} is no unit of UCUM", unit_meant(unit))
    if limits is not None and limits[0] >= limits[1]:
        detail = f"range: the lowest, {limits[0]:g}, is not below the highest, {limits[1]:g}"
        yield entry.fault(("range",), "limits-order", detail)
    yield from _alike(entry, item.get("values") or ())


def _alike(entry: Entry, values: Collection[str]) -> Iterator[RuleFault]:
    """Yield the values that requests could not tell apart: case and what stands between words play no part there."""
    known: dict[str, str] = {}
    for index, value in enumerate(values):
        other = known.setdefault(letters_of(value), value)
        if index and other != value or list(values).index(value) != index:
            yield entry.fault(("values", index), "wrong-value", f"'{value}' is read as '{other}' is")
