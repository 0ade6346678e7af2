"""The files of a directory, read with their places; what they hold is checked against its declaration."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from marshmallow import ValidationError

from heartlevel.intake.faults import from_messages, near
from heartlevel.intake.fields import Block, messages
from heartlevel.ruling.files.directories.listing import Listing, listing_of, plain_ending
from heartlevel.ruling.files.own.declared import FactBlock
from heartlevel.ruling.files.profile_schema import GuidelineBlock, ProtocolBlock
from heartlevel.ruling.files.schema import RuleBlock, WordingBlock
from heartlevel.ruling.files.source import DECIMAL_POINT, SourceFile, mapping, source_file
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.ruling.language.ruleset import FilesRead
from heartlevel.vocabulary import SCOPES

MOST_RULES = 500
FACTS = "facts"
LADDER = "urgency.yaml"
PATIENTS = "patients"  # a folder of tests: it decides nothing, and is read by those who run them (`patients.reading`)
SECTIONS: Mapping[str, Block] = {
    **dict.fromkeys(SCOPES, RuleBlock()),
    FACTS: FactBlock(),
    "guidelines": GuidelineBlock(),
    "protocols": ProtocolBlock(),
    "wording": WordingBlock(),
}


def key_of(section: str) -> str:
    """Return the field that names an item of a section."""
    return {"wording": "language", FACTS: "name"}.get(section, "id")


@dataclass(slots=True)
class Content:
    """What stands in a directory: the file at its top, and the items of each section, unchecked."""

    top: Entry | None
    ladder: Entry | None = None
    items: dict[str, list[Entry]] = field(default_factory=lambda: {name: [] for name in SECTIONS})
    silenced: list[Entry] = field(default_factory=list)  # rules that layers switched off
    passed_over: tuple[str, ...] = ()  # words on files that were not taken

    def files_read(self) -> FilesRead:
        """Return which items each file of rules, profiles and texts holds, and what was passed over beside them."""
        held: dict[str, tuple[str, ...]] = {}
        for section, entries in self.items.items():
            for entry in entries:
                file, name = entry.origin.name, str(mapping(entry.item).get(key_of(section)))
                held[file] = (*held.get(file, ()), name)
        return FilesRead(held, self.passed_over)

    def fingerprint(self) -> str:
        """Return a hash of all that stands there, mistakes included; layout, and how items lie in files, play no part."""
        tops = [None if entry is None else entry.item for entry in (self.top, self.ladder)]
        items = {name: entries for name, entries in self.items.items() if entries or name != FACTS}
        sections = {name: sorted(json.dumps(entry.item) for entry in entries) for name, entries in items.items()}
        written = json.dumps([tops, sections], sort_keys=True)
        return f"sha256:{sha256(written.encode()).hexdigest()}"


def content_of(folder: Path, top: str, faults: list[RuleFault], layered: bool = False) -> Content:
    """Read every file below a folder; mistakes are added to `faults`. A layer's files are shown with its folder."""
    listing = listing_of(folder, f"{folder.name}/" if layered else "")
    content = Content(_top(listing, top, layered, faults), passed_over=tuple(listing.passed_over))
    if not layered:
        content.ladder = _top(listing, LADDER, layered, faults)
    tops = (top,) if layered else (top, LADDER)
    for inside, path in listing.files.items():
        section, shown_as = inside.partition("/")[0], listing.prefix + inside
        if section in SECTIONS:
            content.items[section] += _entries(source_file(path, shown_as, layered), section in (*SCOPES, FACTS), faults)
        elif plain_ending(inside) not in tops and section != PATIENTS:
            listing.refuse(
                inside, "unknown-folder", f"'{section}' holds no rule files", near(section, (*SECTIONS, PATIENTS))
            )
    faults += listing.faults
    return content


def _top(listing: Listing, top: str, layered: bool, faults: list[RuleFault]) -> Entry | None:
    alike = [inside for inside in listing.files if plain_ending(inside) == top]
    if not alike:
        hint = None if layered else "a layer has a layer.yaml in its place"
        wanted = f"a directory of rules needs {top}"
        listing.refuse(top, "missing-file", wanted, hint)
        return None
    for other in alike[1:]:
        listing.refuse(other, "repeated-key", f"it stands for the same as {alike[0]} beside it")
    source = source_file(listing.files[alike[0]], listing.prefix + alike[0], layered)
    return next(iter(_entries(source, False, faults)), None)


def _entries(file: SourceFile, listed: bool, faults: list[RuleFault]) -> list[Entry]:
    """Return the items of a file, which is a list of them or a single one; mistakes are added to `faults`."""
    faults += file.faults
    if file.data is None and file.faults:
        return []
    if not listed:
        return [Entry(file.origin, (), file.data)]
    if not isinstance(file.data, list):
        faults.append(file.origin.fault((), "not-a-list", "a file of rules, or of facts, is a list of them"))
        return []
    if len(file.data) > MOST_RULES:
        faults.append(file.origin.fault((), "too-many", f"{len(file.data)} items; a file has at most {MOST_RULES}"))
    return [Entry(file.origin, (index,), item) for index, item in enumerate(file.data[:MOST_RULES])]


def is_valid(block: Block, entry: Entry, faults: list[RuleFault]) -> bool:
    """Check an item against its declaration; mistakes are added to `faults`."""
    try:
        block.load(entry.item)
    except ValidationError as error:
        faults += _worded(error, block, entry)
        return False
    return True


def _worded(error: ValidationError, block: Block, entry: Entry) -> Iterator[RuleFault]:
    for problem in from_messages(messages(error), block, entry.item, ""):
        path = _key_path(problem.pointer, entry.item)
        dotted = f"{'.'.join(map(str, path))}: " if path else ""
        hint = _meant(problem.pointer) if problem.code == "unknown-key" else None
        yield entry.fault(path, problem.code, f"{dotted}{problem.detail}", hint or problem.hint)


def _key_path(pointer: str, item: Any) -> KeyPath:
    """Return the keys and indexes of a JSON Pointer; digits are an index only where a list is."""
    path: list[str | int] = []
    for step in pointer.split("/")[1:]:
        key = int(step) if isinstance(item, list) and step.isdigit() else step
        path.append(key)
        item = item.get(key) if isinstance(item, dict) else item[key] if isinstance(key, int) else None
    return tuple(path)


def _meant(pointer: str) -> str | None:
    """Say what a name that is no field was meant to be: part of a number, or a name dotted as conditions have it."""
    name = pointer.rpartition("/")[2]
    if name.isdigit():
        return DECIMAL_POINT
    *parents, last = name.split(".")
    return f"write it nested: {': {'.join([*parents, last])}: …{'}' * len(parents)}" if parents else None
