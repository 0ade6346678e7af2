"""From a directory of rule files, and layers over it, to a RuleSet, or to all the mistakes in them at once."""

from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

import orjson

from heartlevel.intake.faults import abridged, near
from heartlevel.profiles import UNPUBLISHED, Category, Guideline, Protocol, UsualAtHome, UsualInOffice
from heartlevel.resources import shipped
from heartlevel.ruling.building import build_rules
from heartlevel.ruling.content import SECTIONS, Content, content_of, is_valid, key_of
from heartlevel.ruling.layers import Layer, lay
from heartlevel.ruling.ruleset import RuleSet
from heartlevel.ruling.schema import RuleSetBlock
from heartlevel.ruling.sense import senseless_limits, senseless_schedule
from heartlevel.ruling.source import Origin, Path_, RuleFault, RuleFaults, mapping, repeated_names
from heartlevel.ruling.wording import Languages, showing
from heartlevel.vocabulary import SCOPES

NEVER = float("inf")
AMBULATORY = ("ambulatory-day", "ambulatory-night", "ambulatory-24h")


def load(folder: Path | None = None, layers: Sequence[Path] = ()) -> RuleSet:
    """Load a directory of rule files, the shipped one by default, and the layers over it, lowest first.

    Raises RuleFaults with every mistake in every file. The order of files plays no part.
    """
    faults: list[RuleFault] = []
    content = content_of(folder or shipped("rules"), "ruleset.yaml", faults)
    titles = _titles(content)  # those that a layer changes too: texts may stand for them
    laid = [lay(content, layer, faults) for layer in layers]
    checked = _Checked(content, faults)
    guidelines, protocols = checked.guidelines(), checked.protocols()
    checked.check_references(guidelines, protocols)
    checked.check_sense()
    limits = _in_all(one.limits for one in guidelines.values()) | _in_all(one.limits for one in protocols.values())
    languages = Languages(checked.items["wording"], faults)
    rules = build_rules(checked.of_scopes(), checked.ids, limits, _in_all(languages.next_steps.values()), faults)
    wording = languages.wordings(rules, limits, _ever_named(content, laid), titles | _titles(content))
    if faults:
        raise RuleFaults(faults)
    return RuleSet(
        name=checked.head["name"],
        revision=checked.head["revision"],
        fingerprint=checked.fingerprint(),
        default_guideline=checked.head["default_guideline"],
        rules=showing(rules, wording),
        guidelines=guidelines,
        protocols=protocols,
        wording=wording,
        at_home=checked.at_home(),
        in_office=checked.in_office(),
        layers=tuple(layer for layer in laid if layer is not None),
    )


def _in_all(several: Iterable[Mapping[str, Any]]) -> frozenset[str]:
    """Return the names that every one of some mappings has."""
    names = [frozenset(one) for one in several]
    return frozenset.intersection(*names) if names else frozenset()


def _ever_named(content: Content, laid: Iterable[Layer | None]) -> frozenset[str]:
    """Return the ids of all rules, of those at fault and of those a layer switched off too: texts may stand for them."""
    named = frozenset().union(*(_ids(content, scope) for scope in SCOPES))
    off = {change.id for layer in laid if layer for change in layer.changes if change.off and change.kind == "rule"}
    return named | off


def _ids(content: Content, section: str) -> frozenset[str]:
    """Return the ids in a section, of what is at fault too."""
    return frozenset(str(item.get("id")) for _, _, item in content.items[section] if isinstance(item, dict))


def _titles(content: Content) -> frozenset[str]:
    """Return the titles of all categories, of what is at fault too."""
    settings = [mapping(mapping(item).get("categories")).values() for _, _, item in content.items["guidelines"]]
    lists = [several for one in settings for several in one if isinstance(several, list)]
    return frozenset(str(mapping(one).get("title")) for several in lists for one in several)


class _Checked:
    """Content of which every item is as its declaration wants it."""

    def __init__(self, content: Content, faults: list[RuleFault]) -> None:
        self.faults = faults
        self.items = {
            section: [one for one in content.items[section] if is_valid(block, one, faults)]
            for section, block in SECTIONS.items()
        }
        self.ids = {section: _ids(content, section) for section in (*SCOPES, "guidelines", "protocols")}
        self.top = content.top
        valid = self.top is not None and is_valid(RuleSetBlock(), self.top, faults)
        self.head: Mapping[str, Any] = self.top[2] if valid and self.top else {}

    def _named(self, section: str) -> dict[str, tuple[Origin, dict[str, Any]]]:
        """Return the items by name; of items with one name the first stands and the others are faults."""
        key = key_of(section)
        self.faults += repeated_names(self.items[section], key)
        named: dict[str, tuple[Origin, dict[str, Any]]] = {}
        for file, _, item in self.items[section]:
            named.setdefault(item[key], (file, item))
        return named

    def guidelines(self) -> dict[str, Guideline]:
        """Return the guidelines by id."""
        return {name: self._guideline(file, item) for name, (file, item) in self._named("guidelines").items()}

    def _guideline(self, file: Origin, item: dict[str, Any]) -> Guideline:
        categories = {}
        for setting, several in item["categories"].items():
            lowest = [place for place, one in enumerate(several) if not one.get("from")]
            if lowest != [0]:
                at = ("categories", setting)
                detail = "the first category, and only it, has no `from`"
                self.faults.append(file.fault(at, "categories-order", detail))
            categories[setting] = tuple(_category(one) for one in several)
        plain = {name: float(item[name]) for name in ("adults_from_years", "after_birth_days")}
        limits = {**plain, **_flat(item["limits"]), **_unpublished(item["limits"])}
        return Guideline(
            id=item["id"],
            adults_from_years=item["adults_from_years"],
            in_pregnancy=item["in_pregnancy"],
            after_birth_days=item["after_birth_days"],
            protocol=item["protocol"],
            limits=limits,
            categories=categories,
            written=item,
        )

    def protocols(self) -> dict[str, Protocol]:
        """Return the protocols by id."""
        return {
            name: Protocol(
                id=name,
                title=item["title"],
                limits=_flat({"protocol": {**item, "year": None}}),
                office_use=item["office"]["use"],
                check_order=tuple(item["device_check"]["procedure"]["order"]),
                written=item,
            )
            for name, (_, item) in self._named("protocols").items()
        }

    def at_home(self) -> UsualAtHome | None:
        """Return what home readings usually are too high by; None where that is not said."""
        written = self.head.get("usual_at_home")
        return UsualAtHome(_both(written["first_day"]), _both(written["technique"]), written) if written else None

    def in_office(self) -> UsualInOffice | None:
        """Return how office visits usually differ; None where that is not said."""
        written = self.head.get("usual_in_office")
        if not written:
            return None
        return UsualInOffice(_both(written["sd_between_visits"]), written["degrees_of_freedom"], written)

    def check_references(self, guidelines: Mapping[str, Any], protocols: Mapping[str, Any]) -> None:
        """Note every name of a guideline or protocol that does not exist; one with mistakes of its own does."""
        known = {*guidelines, *self.ids["guidelines"]}
        for file, path, item in self.items["guidelines"]:
            for key, names in (("in_pregnancy", known), ("protocol", {*protocols, *self.ids["protocols"]})):
                if item[key] not in names:
                    self._unknown(file, (*path, key), item[key], names)
        for scope in SCOPES:
            for file, path, item in self.items[scope]:
                self._check_examples(file, (*path, "examples"), item["examples"], known, protocols)
        default = self.head.get("default_guideline")
        if self.top and default is not None and default not in known:
            self._unknown(self.top[0], ("default_guideline",), default, known)

    def _check_examples(
        self, file: Origin, path: Path_, examples: Any, guidelines: Iterable[str], protocols: Iterable[str]
    ) -> None:
        for place, example in enumerate(examples):
            for key, names in (("guideline", guidelines), ("protocol", protocols)):
                if example.get(key) is not None and example[key] not in names:
                    self._unknown(file, (*path, place, key), example[key], names)

    def check_sense(self) -> None:
        """Note figures that cannot all be meant."""
        for one in self.items["guidelines"]:
            self.faults += senseless_limits(one)
        for one in self.items["protocols"]:
            self.faults += senseless_schedule(one)

    def _unknown(self, file: Origin, path: Path_, name: object, names: Iterable[str]) -> None:
        self.faults.append(file.fault(path, "unknown-name", f"{abridged(name)} does not exist", near(name, sorted(names))))

    def of_scopes(self) -> dict[str, list[tuple[Origin, Path_, Any]]]:
        """Return the rules by scope, in order of their ids."""
        return {scope: sorted(self.items[scope], key=lambda one: str(one[2]["id"])) for scope in SCOPES}

    def fingerprint(self) -> str:
        """Return a hash of the content; comments, layout, and how rules lie in files play no part."""
        whole = {
            section: {item[key_of(section)]: _ordered(item) for _, _, item in items}
            for section, items in self.items.items()
        }
        canonical = orjson.dumps({"head": self.head, **whole}, option=orjson.OPT_SORT_KEYS)
        return f"sha256:{sha256(canonical).hexdigest()}"


def _ordered(item: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return an item with the order of its next steps, which is the order of the answer's, as part of its content."""
    return {**item, "next_steps": list(item["next_steps"].items())} if "next_steps" in item else item


def _flat(limits: Mapping[str, Any], prefix: str = "") -> dict[str, float]:
    """Return the numbers of nested mappings under dotted names."""
    flat: dict[str, float] = {}
    for name, value in limits.items():
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{prefix}{name}.")
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            flat[f"{prefix}{name}"] = float(value)
    return flat


def _unpublished(limits: Mapping[str, Any]) -> dict[str, float]:
    """Return NaN for each ambulatory limit that a guideline says it does not have."""
    return {
        f"{name}.hypertension.{pressure}": UNPUBLISHED
        for name in AMBULATORY
        for pressure, value in limits[name]["hypertension"].items()
        if value is None
    }


def _both(written: Mapping[str, float]) -> tuple[float, float]:
    return written["systolic"], written["diastolic"]


def _category(item: Mapping[str, Any]) -> Category:
    reached = item.get("from")
    if reached is None:
        return Category(item["id"], item["title"], -NEVER, -NEVER)
    return Category(item["id"], item["title"], reached.get("systolic", NEVER), reached.get("diastolic", NEVER))
