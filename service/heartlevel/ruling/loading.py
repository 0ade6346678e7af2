"""From a directory of rule files to a RuleSet, or to all the mistakes in it at once."""

from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

import orjson
from marshmallow import ValidationError

from heartlevel.intake.faults import from_messages, near, shown
from heartlevel.intake.fields import Block, messages
from heartlevel.profiles import Category, Guideline, Protocol
from heartlevel.resources import shipped
from heartlevel.ruling.building import build_rules
from heartlevel.ruling.ruleset import RuleSet, Wording
from heartlevel.ruling.schema import GuidelineBlock, ProtocolBlock, RuleBlock, RuleSetBlock, WordingBlock
from heartlevel.ruling.source import Path_, RuleFault, RuleFaults, SourceFile, Written, repeated_names
from heartlevel.vocabulary import SCOPES

FOLDERS: dict[str, type[Block]] = {
    **dict.fromkeys(SCOPES, RuleBlock),
    "guidelines": GuidelineBlock,
    "protocols": ProtocolBlock,
    "wording": WordingBlock,
}
NEVER = float("inf")


def load(folder: Path | None = None) -> RuleSet:
    """Load a directory of rule files; the shipped one by default.

    Raises RuleFaults with every mistake in every file. The order of files plays no part.
    """
    faults: list[RuleFault] = []
    content = _Content(folder or shipped("rules"), faults)
    guidelines, protocols = content.guidelines(), content.protocols()
    wording = content.wordings()
    content.check_references(guidelines, protocols)
    limits = _in_all(guidelines.values()) | _in_all(protocols.values())
    rules = build_rules(content.of_scopes(), limits, content.next_steps(wording), faults)
    if faults:
        raise RuleFaults(faults)
    head = content.head
    name, revision, default = head["name"], head["revision"], head["default_guideline"]
    return RuleSet(name, revision, content.fingerprint(), default, rules, guidelines, protocols, wording)


def _in_all(profiles: Any) -> frozenset[str]:
    names = [frozenset(one.limits) for one in profiles]
    return frozenset.intersection(*names) if names else frozenset()


class _Content:
    """The files of a directory: read, checked against their declarations, and kept with their places."""

    def __init__(self, folder: Path, faults: list[RuleFault]) -> None:
        self.faults = faults
        self.items: dict[str, list[Written]] = {name: [] for name in FOLDERS}
        for path in sorted(folder.rglob("*.yaml")):
            shown_as = path.relative_to(folder).as_posix()
            section = shown_as.partition("/")[0]
            if section in FOLDERS:
                self._take(section, SourceFile(path, shown_as))
            elif shown_as != "ruleset.yaml":
                hint = near(section, FOLDERS)
                faults.append(RuleFault(shown_as, 1, 1, "unknown-folder", f"'{section}' holds no rule files", hint))
        self.head = self._head(folder / "ruleset.yaml")

    def _head(self, path: Path) -> dict[str, Any]:
        if not path.is_file():
            self.faults.append(RuleFault(path.name, 1, 1, "missing-file", "a rule set needs ruleset.yaml"))
            return {}
        file = SourceFile(path, path.name)
        self.faults += file.faults
        self._valid(RuleSetBlock(), file, (), file.data)
        self._head_file = file
        return file.data if isinstance(file.data, dict) else {}

    def _take(self, section: str, file: SourceFile) -> None:
        self.faults += file.faults
        block = FOLDERS[section]()
        several = section in SCOPES
        if several and not isinstance(file.data, list):
            self.faults.append(file.fault((), "not-a-list", "a file of rules is a list of rules"))
            return
        for place, item in enumerate(file.data if several else [file.data]):
            path: Path_ = (place,) if several else ()
            if self._valid(block, file, path, item):
                self.items[section].append((file, path, item))

    def _valid(self, block: Block, file: SourceFile, path: Path_, item: Any) -> bool:
        try:
            block.load(item)
        except ValidationError as error:
            for one in from_messages(messages(error), block, item, ""):
                steps = tuple(int(step) if step.isdigit() else step for step in one.pointer.split("/")[1:])
                self.faults.append(file.fault((*path, *steps), one.code, f"{_dotted(steps)}{one.detail}", one.hint))
            return False
        return True

    def _named(self, section: str, key: str = "id") -> dict[str, tuple[SourceFile, dict[str, Any]]]:
        """Return the items by name; of items with one name the first stands and the others are faults."""
        self.faults += repeated_names(self.items[section], key)
        named: dict[str, tuple[SourceFile, dict[str, Any]]] = {}
        for file, _, item in self.items[section]:
            named.setdefault(item[key], (file, item))
        return named

    def guidelines(self) -> dict[str, Guideline]:
        """Return the guidelines by id."""
        return {name: self._guideline(file, item) for name, (file, item) in self._named("guidelines").items()}

    def _guideline(self, file: SourceFile, item: dict[str, Any]) -> Guideline:
        categories = {}
        for setting, several in item["categories"].items():
            lowest = [place for place, one in enumerate(several) if not one.get("from")]
            if lowest != [0]:
                at = ("categories", setting)
                detail = "the first category, and only it, has no `from`"
                self.faults.append(file.fault(at, "categories-order", detail))
            categories[setting] = tuple(_category(one) for one in several)
        limits = {"adults_from_years": float(item["adults_from_years"]), **_flat(item["limits"])}
        return Guideline(
            id=item["id"],
            adults_from_years=item["adults_from_years"],
            in_pregnancy=item["in_pregnancy"],
            protocol=item["protocol"],
            limits=limits,
            categories=categories,
            written=item,
        )

    def protocols(self) -> dict[str, Protocol]:
        """Return the protocols by id."""
        return {
            name: Protocol(name, _flat({"protocol": item}), item["office"]["use"], item)
            for name, (_, item) in self._named("protocols").items()
        }

    def wordings(self) -> dict[str, Wording]:
        """Return the wordings by language."""
        return {
            name: Wording(item["next_steps"], item["cautions"])
            for name, (_, item) in self._named("wording", "language").items()
        }

    def next_steps(self, wording: Mapping[str, Wording]) -> frozenset[str]:
        """Return the next steps that every language words."""
        worded = [frozenset(one.next_steps) for one in wording.values()]
        return frozenset.intersection(*worded) if worded else frozenset()

    def check_references(self, guidelines: Mapping[str, Any], protocols: Mapping[str, Any]) -> None:
        """Note every name of a guideline or protocol that does not exist."""
        for file, path, item in self.items["guidelines"]:
            for key, names in (("in_pregnancy", guidelines), ("protocol", protocols)):
                if item[key] not in names:
                    self._unknown(file, (*path, key), item[key], names)
        default = self.head.get("default_guideline")
        if default is not None and default not in guidelines:
            self._unknown(self._head_file, ("default_guideline",), default, guidelines)

    def _unknown(self, file: SourceFile, path: Path_, name: object, names: Mapping[str, Any]) -> None:
        self.faults.append(file.fault(path, "unknown-name", f"{shown(name)} does not exist", near(name, names)))

    def of_scopes(self) -> dict[str, list[Written]]:
        """Return the rules by scope, in order of their ids."""
        return {scope: sorted(self.items[scope], key=lambda one: str(one[2]["id"])) for scope in SCOPES}

    def fingerprint(self) -> str:
        """Return a hash of the content; comments, layout, and how rules lie in files play no part."""
        key = {"wording": "language"}
        whole = {
            section: {item[key.get(section, "id")]: item for _, _, item in items}
            for section, items in self.items.items()
        }
        canonical = orjson.dumps({"head": self.head, **whole}, option=orjson.OPT_SORT_KEYS)
        return f"sha256:{sha256(canonical).hexdigest()}"


def _dotted(steps: Path_) -> str:
    return f"{'.'.join(map(str, steps))}: " if steps else ""


def _flat(limits: Mapping[str, Any], prefix: str = "") -> dict[str, float]:
    """Return the numbers of nested mappings under dotted names."""
    flat: dict[str, float] = {}
    for name, value in limits.items():
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{prefix}{name}.")
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            flat[f"{prefix}{name}"] = float(value)
    return flat


def _category(item: Mapping[str, Any]) -> Category:
    reached = item.get("from")
    if reached is None:
        return Category(item["id"], item["title"], -NEVER, -NEVER)
    return Category(item["id"], item["title"], reached.get("systolic", NEVER), reached.get("diastolic", NEVER))
