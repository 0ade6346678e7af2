"""From a directory of rule files, and layers over it, to a RuleSet, or to all the mistakes in them at once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from itertools import chain
from pathlib import Path
from typing import Any

import orjson

from heartlevel.facts.catalogue import catalogue_of
from heartlevel.intake.faults import abridged, near
from heartlevel.intake.own.facts import OwnFact
from heartlevel.profiles import Guideline, Protocol
from heartlevel.resources import shipped
from heartlevel.ruling.files.building import build_rules
from heartlevel.ruling.files.content import FACTS, SECTIONS, Content, content_of, is_valid, key_of
from heartlevel.ruling.files.followup.building import follow_up_of
from heartlevel.ruling.files.followup.declared import HeadBlock
from heartlevel.ruling.files.followup.targets import senseless_targets
from heartlevel.ruling.files.layers import lay
from heartlevel.ruling.files.own.building import OwnFacts, own_facts_of
from heartlevel.ruling.files.parameters.reading import parameters_elsewhere
from heartlevel.ruling.files.profile_building import (
    guideline_of,
    ladder_of,
    lowest_not_first,
    protocol_of,
    size_of_faults,
    sureness_limits,
    usual_ambulatory,
    usual_at_home,
    usual_in_office,
)
from heartlevel.ruling.files.sense import senseless_limits, senseless_schedule
from heartlevel.ruling.files.source import mapping, repeated_names
from heartlevel.ruling.files.urgency.declared import UrgencyBlock
from heartlevel.ruling.files.wording import Languages, showing
from heartlevel.ruling.language.faults import Entry, RuleFault, RuleFaults
from heartlevel.ruling.language.ruleset import Layer, RuleSet
from heartlevel.vocabulary import SCOPES

# Fields that name a guideline or a protocol: of a guideline, of an example, of the rule set's head.
NAMED = {
    "in_pregnancy": "guidelines", "guideline": "guidelines", "default_guideline": "guidelines", "protocol": "protocols"
}  # fmt: skip


def load(folder: Path | None = None, layers: Sequence[Path] = ()) -> RuleSet:
    """Load a directory of rule files, the shipped one by default, and the layers over it, lowest first.

    Raises RuleFaults with every mistake in every file. The order of files plays no part.
    """
    faults: list[RuleFault] = []
    content = content_of(folder or shipped("rules"), "ruleset.yaml", faults)
    titles = _titles(content)  # those that a layer changes too: texts may stand for them
    base_fingerprint, base_files = content.fingerprint(), content.files_read()
    laid = _laid(content, layers, faults)
    checked = _Checked(content, faults)
    guidelines, protocols = checked.profiles()
    faults += checked.faults_between_items()
    limits = frozenset().union(*(_in_all(item.limits for item in kind.values()) for kind in (guidelines, protocols)))
    own = own_facts_of(content.items[FACTS], checked.items[FACTS], faults)
    facts, by_scope = catalogue_of(own.usable), checked.rules_by_scope(own)
    languages = Languages(checked.items["wording"], facts, faults)
    elsewhere = parameters_elsewhere(chain(*(content.items[scope] for scope in SCOPES), content.silenced))
    rules = build_rules(by_scope, checked.ids, facts, limits, _in_all(languages.next_steps.values()), elsewhere, faults)
    wording = languages.wordings(rules, limits, elsewhere, _ever_named(content, laid), titles | _titles(content))
    if faults:
        raise RuleFaults(faults)
    return RuleSet(
        name=checked.head["name"],
        revision=checked.head["revision"],
        fingerprint=checked.fingerprint(),
        default_guideline=checked.head["default_guideline"],
        rules={scope: tuple(showing(rule, wording) for rule in of_scope) for scope, of_scope in rules.items()},
        guidelines=guidelines,
        protocols=protocols,
        wording=wording,
        ladder=ladder_of(checked.ladder),
        at_home=usual_at_home(checked.head),
        in_office=usual_in_office(checked.head),
        size_of_faults=size_of_faults(checked.head),
        ambulatory=usual_ambulatory(checked.head),
        sureness=sureness_limits(checked.head),
        follow_up=follow_up_of(checked.head),
        own_facts=own.usable,
        layers=tuple(laid),
        base_fingerprint=base_fingerprint,
        base_files=base_files,
        entries=checked.entries(),
    )


def facts_declared(folder: Path | None, layers: Sequence[Path]) -> tuple[OwnFact, ...]:
    """Return the facts that rule files and layers declare and that can be used, whatever else there is at fault."""
    faults: list[RuleFault] = []
    content = content_of(folder or shipped("rules"), "ruleset.yaml", faults)
    _laid(content, layers, faults)
    written = content.items[FACTS]
    return own_facts_of(written, [entry for entry in written if is_valid(SECTIONS[FACTS], entry, faults)], faults).usable


def _laid(content: Content, layers: Iterable[Path], faults: list[RuleFault]) -> list[Layer]:
    """Lay the layers over the content, in place, lowest first; return those whose own file has no mistakes."""
    laid: list[Layer] = []
    for folder in layers:
        laid += filter(None, [lay(content, folder, faults, laid)])
    return laid


def _in_all(mappings: Iterable[Mapping[str, Any]]) -> frozenset[str]:
    """Return the names that all mappings have."""
    names = list(map(frozenset, mappings))
    return frozenset.intersection(*names) if names else frozenset()


def _ever_named(content: Content, laid: Iterable[Layer]) -> frozenset[str]:
    """Return the ids of all rules, of those at fault and of those a layer switched off too: texts may stand for them."""
    named = frozenset().union(*(_ids(content, scope) for scope in SCOPES))
    off = {change.id for layer in laid for change in layer.changes if change.off and change.kind == "rule"}
    return named | off


def _ids(content: Content, section: str) -> frozenset[str]:
    """Return the ids in a section, of what is at fault too."""
    return frozenset(str(item.get("id")) for _, _, item in content.items[section] if isinstance(item, dict))


def _titles(content: Content) -> frozenset[str]:
    """Return the titles of all categories, of what is at fault too."""
    settings = [mapping(item, "categories").values() for _, _, item in content.items["guidelines"]]
    lists = [categories for by_setting in settings for categories in by_setting if isinstance(categories, list)]
    return frozenset(str(mapping(category).get("title")) for categories in lists for category in categories)


class _Checked:
    """The items of the content that are as their declarations want them."""

    def __init__(self, content: Content, faults: list[RuleFault]) -> None:
        """Leave out the items with mistakes, which are added to `faults`."""
        self.items = {
            section: [entry for entry in content.items[section] if is_valid(block, entry, faults)]
            for section, block in SECTIONS.items()
        }
        self.ids = {section: _ids(content, section) for section in (*SCOPES, "guidelines", "protocols")}
        self.top = content.top
        valid = self.top is not None and is_valid(HeadBlock(), self.top, faults)
        self.head: Mapping[str, Any] = self.top.item if valid and self.top else {}
        self.content_ladder = content.ladder
        sound = content.ladder is not None and is_valid(UrgencyBlock(), content.ladder, faults)
        self.ladder: Mapping[str, Any] = content.ladder.item if sound and content.ladder else {}

    def profiles(self) -> tuple[dict[str, Guideline], dict[str, Protocol]]:
        """Return the guidelines and the protocols, by id."""
        guidelines = {entry.item["id"]: guideline_of(entry.item) for entry in self.items["guidelines"]}
        return guidelines, {entry.item["id"]: protocol_of(entry.item) for entry in self.items["protocols"]}

    def rules_by_scope(self, own: OwnFacts) -> dict[str, list[Entry]]:
        """Return the rules that speak of no declared fact that is at fault, in order of their ids."""
        sound = {scope: filter(own.are_sound_in, self.items[scope]) for scope in SCOPES}
        return {scope: sorted(rules, key=lambda entry: str(entry.item["id"])) for scope, rules in sound.items()}

    def entries(self) -> dict[tuple[str, str], Entry]:
        """Return where everything but rules is written, by kind and name."""
        kinds = {"guideline": "guidelines", "protocol": "protocols", "wording": "wording", "fact": FACTS}
        named = {
            (kind, entry.item[key_of(section)]): entry for kind, section in kinds.items() for entry in self.items[section]
        }
        tops = {"ruleset": self.top, "urgency": self.content_ladder}
        return named | {(kind, ""): entry for kind, entry in tops.items() if entry is not None}

    def faults_between_items(self) -> Iterator[RuleFault]:
        """Yield each name given twice, each figure that cannot be meant, each guideline and protocol that does not exist.

        One with mistakes of its own does exist.
        """
        for section in ("guidelines", "protocols"):
            yield from repeated_names(self.items[section], "id")
        for entry in self.items["guidelines"]:
            yield from lowest_not_first(entry)
            yield from senseless_limits(entry)
            yield from senseless_targets(entry)
        for entry in self.items["protocols"]:
            yield from senseless_schedule(entry)
        yield from self._unknown_names()

    def _unknown_names(self) -> Iterator[RuleFault]:
        rules = chain.from_iterable(self.items[scope] for scope in SCOPES)
        examples = (rule.part("examples", index) for rule in rules for index in range(len(rule.item["examples"])))
        tops = [self.top] if self.top and self.head else []
        for entry in chain(self.items["guidelines"], examples, tops):
            for key, section in NAMED.items():
                name, known = entry.item.get(key), self.ids[section]
                if name is not None and name not in known:
                    yield entry.fault((key,), "unknown-name", f"{abridged(name)} does not exist", near(name, sorted(known)))

    def fingerprint(self) -> str:
        """Return a hash of the content; comments, layout, and how rules lie in files play no part."""
        whole = {
            section: {item[key_of(section)]: _ordered(item) for _, _, item in entries}
            for section, entries in self.items.items()
            if entries or section != FACTS
        }
        canonical = orjson.dumps({"head": self.head, "urgency": self.ladder, **whole}, option=orjson.OPT_SORT_KEYS)
        return f"sha256:{sha256(canonical).hexdigest()}"


def _ordered(item: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return an item with the order of its next steps, which is the order of the answer's, as part of its content."""
    return {**item, "next_steps": list(item["next_steps"].items())} if "next_steps" in item else item
