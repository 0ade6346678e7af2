"""Mistakes in rule files: where each stands, what was found and expected, and what to do about it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, NamedTuple, TypeAlias

from heartlevel.ruling.language.cures import CURES

KeyPath: TypeAlias = tuple[str | int, ...]  # keys and indexes from the top of a file


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
    """The rule files cannot be used; `faults` are all the mistakes in them, in order of place."""

    def __init__(self, faults: Iterable[RuleFault]) -> None:
        """Sort and keep the faults; the text lists them all."""
        self.faults = sorted(set(faults), key=attrgetter("file", "line", "column", "code", "detail"))
        super().__init__("\n".join(map(str, self.faults)))

    def __reduce__(self) -> tuple[type["RuleFaults"], tuple[list[RuleFault]]]:
        """Say how it is made again in another process: from its faults, and not from its text."""
        return RuleFaults, (self.faults,)


class Position(NamedTuple):
    """Where something is written, and whether in a layer."""

    file: str
    line: int
    column: int
    layered: bool = False


class Origin(NamedTuple):
    """What items were read from, a file or several laid over each other: the position of every key and list item."""

    name: str  # of the file; the lowest of several
    positions: Mapping[KeyPath, Position]

    def position(self, path: KeyPath) -> Position:
        """Return where a path is written, or the closest one above it that is."""
        while path not in self.positions:
            path = path[:-1]
        return self.positions[path]

    def fault(self, path: KeyPath, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault at a path."""
        file, line, column, _ = self.position(path)
        return RuleFault(file, line, column, code, detail, hint)


class Entry(NamedTuple):
    """An item of a rule file (a rule, a guideline, a wording ...): what it was read from, its path there, its content."""

    origin: Origin
    path: KeyPath
    item: Any

    def fault(self, at: KeyPath, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault at a path within the item."""
        return self.origin.fault((*self.path, *at), code, detail, hint)

    def part(self, *at: str | int) -> "Entry":
        """Return what stands at a path within the item, as an entry of its own."""
        inner = self.item
        for key in at:
            inner = inner[key]
        return Entry(self.origin, (*self.path, *at), inner)

    def sets(self, *at: str | int) -> bool:
        """Say whether a layer writes what stands at a path within the item."""
        return self.origin.position((*self.path, *at)).layered
