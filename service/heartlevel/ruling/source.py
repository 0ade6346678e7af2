"""Rule files as written: YAML read without tags, anchors or repeated keys, and the place of everything in it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeAlias

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from heartlevel.intake.faults import abridged
from heartlevel.ruling.cures import CURES

Place: TypeAlias = tuple[int, int]  # line and column, from 1
Path_: TypeAlias = tuple[str | int, ...]  # keys and indexes from the top of the file

PLAIN_NUMBER = "a plain number: no unit, no quotes, a point for decimals"
DECIMAL_POINT = "a comma within a number? decimals take a point: 5.5"
LONGEST_FILE = 512 * 1024
DEEPEST = 40
LARGEST = 10**15
PLAIN = {f"tag:yaml.org,2002:{kind}" for kind in ("str", "int", "float", "bool", "null", "timestamp", "map", "seq")}


@dataclass(frozen=True, slots=True, order=True)
class RuleFault:
    """A mistake in a rule file: where, its code, what was found and expected, the near match."""

    file: str
    line: int
    column: int
    code: str
    detail: str
    hint: str | None = None

    @property
    def cure(self) -> str:
        """What to do about a mistake of this kind."""
        return CURES[self.code]

    def __str__(self) -> str:
        """Write the fault on one line, place first, as compilers do."""
        hint = f" ({self.hint})" if self.hint else ""
        return f"{self.file}:{self.line}:{self.column}: {self.code}: {self.detail}{hint}"


class RuleFaults(Exception):
    """The rule files cannot be used; `faults` are all the mistakes found, in order of place."""

    def __init__(self, faults: Iterable[RuleFault]) -> None:
        """Sort and keep the faults; the text lists them all."""
        self.faults = sorted(set(faults), key=lambda one: (one.file, one.line, one.column, one.code, one.detail))
        super().__init__("\n".join(map(str, self.faults)))


# libyaml where the installed PyYAML has it: about ten times faster.
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def _composed(text: str) -> Node | None:
    """Return the file's nodes. Raises MarkedYAMLError for anchors and aliases: a rule file says all where it stands."""
    for event in yaml.parse(text, Loader=LOADER):
        if getattr(event, "anchor", None) is not None:
            mark: Any = event.start_mark
            raise yaml.MarkedYAMLError(problem="anchors and aliases (& and *) are not used", problem_mark=mark)
    return yaml.compose(text, Loader=LOADER)


class SourceFile:
    """One rule file: its `data` as plain Python values, and the place of each key and item."""

    def __init__(self, path: Path, shown_as: str, layered: bool = False) -> None:
        """Read the file. What is wrong with it is in `faults`; `data` is then incomplete or None."""
        self.name, self._layered = shown_as, layered
        self.faults: list[RuleFault] = []
        self._places: dict[Path_, Place] = {(): (1, 1)}
        self.data = self._read(path)

    def fault(self, path: Path_, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault at the closest place that the file has for a path."""
        while path not in self._places:
            path = path[:-1]
        return RuleFault(self.name, *self._places[path], code, detail, hint)

    def sets(self, _: Path_) -> bool:
        """Say whether a layer writes what stands at a path: here all or nothing."""
        return self._layered

    def _read(self, path: Path) -> Any:
        try:
            raw = path.read_bytes()
        except OSError as error:
            return self._note((), "unreadable", f"cannot be read: {error.strerror}")
        if len(raw) > LONGEST_FILE:
            return self._note((), "file-too-long", f"{len(raw)} bytes; a rule file has at most {LONGEST_FILE}")
        try:
            node = _composed(raw.decode("utf-8"))
        except UnicodeDecodeError as error:
            return self._note((), "not-utf-8", f"byte {error.start} is not UTF-8")
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            self._places[()] = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            return self._note((), "not-yaml", str(error.problem))
        except yaml.YAMLError as error:
            return self._note((), "not-yaml", " ".join(str(error).split()))
        return None if node is None else self._value(node, ())

    def _note(self, path: Path_, code: str, detail: str) -> None:
        self.faults.append(self.fault(path, code, detail))

    def _value(self, node: Node, path: Path_) -> Any:
        self._places.setdefault(path, (node.start_mark.line + 1, node.start_mark.column + 1))
        if node.tag not in PLAIN:
            return self._note(path, "tag", f"the tag {node.tag} is not used in rule files")
        if len(path) > DEEPEST:
            return self._note(path, "too-deep", f"more than {DEEPEST} levels")
        match node:
            case MappingNode():
                return self._mapping(node, path)
            case SequenceNode():
                return [self._value(item, (*path, place)) for place, item in enumerate(node.value)]
            case ScalarNode():
                return self._scalar(node, path)
        raise TypeError(type(node))

    def _mapping(self, node: MappingNode, path: Path_) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key = key_node.value if isinstance(key_node, ScalarNode) else str(key_node.tag)
            here = (*path, key)
            if key in found:
                repeated = RuleFault(self.name, key_node.start_mark.line + 1, key_node.start_mark.column + 1,
                                     "repeated-key", f"'{key}' is there twice")  # fmt: skip
                self.faults.append(repeated)
                continue
            self._places[here] = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            found[key] = self._value(value_node, here)
        return found

    def _scalar(self, node: ScalarNode, path: Path_) -> Any:
        if node.tag.endswith(":timestamp"):
            return node.value  # dates stay text; their fields say what they take
        try:
            value = yaml.constructor.SafeConstructor().construct_object(node)
        except (ValueError, yaml.YAMLError):
            return self._note(path, "not-yaml", f"'{node.value}' cannot be read")
        # Larger numbers fit neither a column nor a fingerprint.
        if isinstance(value, (int, float)) and not -LARGEST <= value <= LARGEST:
            return self._note(path, "not-a-number", f"found {abridged(value)}")
        return value


class Origin(Protocol):
    """Where something is written: a file, or several laid over each other."""

    @property
    def name(self) -> str:
        """Name of the file, for messages."""

    def sets(self, path: Path_) -> bool:
        """Say whether a layer writes what stands at a path."""

    def fault(self, path: Path_, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault at the closest place there is for a path."""


def mapping(value: object) -> dict[str, Any]:
    """Return a mapping as it is, and an empty one for anything else that was written in its place."""
    return value if isinstance(value, dict) else {}


Written: TypeAlias = tuple[Origin, Path_, Any]  # an item, where it is written, and its path there


def repeated_names(items: Iterable[Written], key: str) -> Iterator[RuleFault]:
    """Yield a fault for each item whose name another item before it has."""
    seen: dict[str, str] = {}
    for file, path, item in items:
        if item[key] in seen:
            yield file.fault((*path, key), "repeated-id", f"'{item[key]}' is already in {seen[item[key]]}")
        seen.setdefault(item[key], file.name)
