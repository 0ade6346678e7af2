"""Rule files as they are written: YAML without tags, anchors and repeated keys, with the line and column of everything."""

from collections.abc import Iterable, Iterator
from functools import lru_cache, partial
from pathlib import Path
from re import IGNORECASE
from re import compile as pattern
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from heartlevel.intake.faults import abridged
from heartlevel.ruling.files.directories.reading import NotRead, bytes_of_file
from heartlevel.ruling.language.faults import Entry, KeyPath, Origin, Position, RuleFault

PLAIN_NUMBER = "a plain number: no unit, no quotes, a point for decimals"
DECIMAL_POINT = "a comma within a number? decimals take a point: 5.5"
# Numbers as everybody reads them: 0135 is octal and 7:30 sexagesimal in YAML 1.1. Fields tell of infinity and NaN.
DECIMAL = pattern(r"[-+]?(0|[1-9]\d*|\d*\.\d+|[1-9]\d*\.|0\.)([eE][-+]?\d+)?|[-+]?\.(inf|nan)", IGNORECASE)
UNSEEN = pattern(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff]")
LONGEST_FILE = 512 * 1024
MOST_SHARED = 128  # files: the rules and some layers
DEEPEST = 40
LARGEST = 10**15
PLAIN = {f"tag:yaml.org,2002:{kind}" for kind in ("str", "int", "float", "bool", "null", "timestamp", "map", "seq")}


# libyaml where the installed PyYAML has it: about ten times faster.
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
CONSTRUCTOR = yaml.constructor.SafeConstructor()


def _composed(text: str) -> Node | None:
    """Return the file's nodes. Raises MarkedYAMLError for anchors and aliases: what a rule says stands in it."""
    for event in yaml.parse(text, Loader=LOADER) if "&" in text or "*" in text else ():
        if getattr(event, "anchor", None) is not None:
            mark: Any = event.start_mark
            raise yaml.MarkedYAMLError(
                problem="anchors and aliases (& and *) are not used; in quotes, & and * are text", problem_mark=mark
            )
    return yaml.compose(text, Loader=LOADER)


def source_file(path: Path, shown_as: str, layered: bool = False) -> "SourceFile":
    """Return a rule file, read; what is wrong with it is in its `faults`."""
    try:
        content: bytes | NotRead = bytes_of_file(path, LONGEST_FILE)
    except NotRead as error:
        content = error
    return _parsed(content, shown_as, layered)


class SourceFile:
    """One rule file: its `data` as plain Python values, and the position of each key and item in its `origin`.

    Files of the same content are parsed once, and shared: nobody changes what stands in them.
    """

    def __init__(self, content: bytes | NotRead, shown_as: str, layered: bool) -> None:
        """Parse the content. What is wrong with it is in `faults`; `data` is then incomplete or None."""
        self._at = partial(Position, shown_as, layered=layered)
        self._positions: dict[KeyPath, Position] = {(): self._at(1, 1)}
        self.origin = Origin(shown_as, self._positions)
        self.faults: list[RuleFault] = []
        self.data: Any = None
        if isinstance(content, NotRead):
            self._note((), content.code, content.detail)
        else:
            self.data = self._read(content)

    def _read(self, raw: bytes) -> Any:
        try:
            node = _composed(raw.decode("utf-8"))
        except UnicodeDecodeError as error:
            return self._note((), "not-utf-8", f"byte {error.start} is not UTF-8")
        except yaml.MarkedYAMLError as error:
            if mark := error.problem_mark or error.context_mark:
                self._positions[()] = self._at(mark.line + 1, mark.column + 1)
            return self._note((), "not-yaml", str(error.problem))
        except yaml.YAMLError as error:
            if b"\0" in raw:
                self._positions[()] = self._at(raw[: raw.index(b"\0")].count(b"\n") + 1, 1)
                return self._note((), "not-yaml", f"byte {raw.index(0)} is NUL: this is no text, or was saved as UTF-16")
            return self._note((), "not-yaml", " ".join(str(error).split()))
        return None if node is None else self._value(node, ())

    def _note(self, path: KeyPath, code: str, detail: str) -> None:
        self.faults.append(self.origin.fault(path, code, detail))

    def _value(self, node: Node, path: KeyPath) -> Any:
        self._positions.setdefault(path, self._at(node.start_mark.line + 1, node.start_mark.column + 1))
        if node.tag not in PLAIN:
            return self._note(path, "tag", f"the tag {node.tag} is not used in rule files")
        if len(path) > DEEPEST:
            return self._note(path, "too-deep", f"more than {DEEPEST} levels")
        match node:
            case MappingNode():
                return self._mapping(node, path)
            case SequenceNode():
                return [self._value(item, (*path, index)) for index, item in enumerate(node.value)]
            case ScalarNode():
                return self._scalar(node, path)
        raise TypeError(type(node))

    def _mapping(self, node: MappingNode, path: KeyPath) -> dict[str, Any]:
        read: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key = key_node.value if isinstance(key_node, ScalarNode) else str(key_node.tag)
            position = self._at(key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            if key in read:
                self.faults.append(Origin("", {(): position}).fault((), "repeated-key", f"'{key}' is there twice"))
            else:
                self._positions[*path, key] = position
                read[key] = self._value(value_node, (*path, key))
        return read

    def _scalar(self, node: ScalarNode, path: KeyPath) -> Any:
        if node.tag.endswith((":str", ":timestamp")):
            return self._text(node.value, path)  # dates stay text; their fields say what they take
        if node.tag.endswith((":int", ":float")) and not DECIMAL.fullmatch(node.value):
            detail = f"'{node.value}' is a number of another kind in YAML (octal, sexagesimal, hexadecimal or with _)"
            self._note(path, "not-a-number", detail)  # its value is read all the same, to be no second fault
        try:
            value = CONSTRUCTOR.yaml_constructors[node.tag](CONSTRUCTOR, node)
        except (ValueError, yaml.YAMLError):
            return self._note(path, "not-yaml", f"'{node.value}' cannot be read")
        # Larger numbers fit neither a column nor a fingerprint.
        if isinstance(value, (int, float)) and not -LARGEST <= value <= LARGEST:
            return self._note(path, "not-a-number", f"found {abridged(value)}")
        return value

    def _text(self, text: str, path: KeyPath) -> str:
        """Return a text; one that nobody can read is at fault, and stays what it is, to be no second fault."""
        control = UNSEEN.search(text)
        if control:
            self._note(path, "not-a-text", f"there is a control character in it, U+{ord(control[0]):04X}")
        elif text and not text.strip():
            self._note(path, "text-length", "the text is blank")
        return text


_parsed = lru_cache(maxsize=MOST_SHARED)(SourceFile)  # rules below a layer are read beside those under it


def mapping(value: object, *keys: str) -> dict[str, Any]:
    """Return the mapping under nested keys as it is, and an empty one for anything else that was written there."""
    for key in keys:
        value = mapping(value).get(key)
    return value if isinstance(value, dict) else {}


def repeated_names(entries: Iterable[Entry], key: str) -> Iterator[RuleFault]:
    """Yield a fault for each item whose name another item before it has."""
    files: dict[str, str] = {}
    for entry in entries:
        name = entry.item[key]
        if name in files:
            yield entry.fault((key,), "repeated-id", f"'{name}' is already in {files[name]}")
        files.setdefault(name, entry.origin.name)
