"""The requests in a JSON file: lines, one object, or the elements of one array, none longer than allowed."""

from collections.abc import Iterator
from re import compile as pattern
from typing import IO, TypeAlias

from heartlevel.bulk.opening import beginning
from heartlevel.intake.ndjson import LONGEST_LINE, PIECE, LineTooLong, requests_in

Numbered: TypeAlias = Iterator[tuple[int, bytes | LineTooLong]]
OUTSIDE = pattern(rb'["\[\]{},\n]')
IN_TEXT = pattern(rb'["\\\n]')


def requests_of(file: IO[bytes], longest: int = LONGEST_LINE) -> Numbered:
    """Yield each request's text with the line it begins on."""
    if beginning(file).lstrip().startswith(b"["):
        return elements_of(file, longest)
    return requests_in(file, longest)


def elements_of(file: IO[bytes], longest: int = LONGEST_LINE) -> Numbered:
    """Yield each element of an array. Holds one element and one piece of the file.

    What follows the array's end is yielded too, as an element that is no JSON, and so is an element cut off.
    """
    scanner = _Scanner(longest)
    while piece := file.read(PIECE):
        yield from scanner.feed(piece)
    yield from scanner.rest()


class _Scanner:
    """Parts elements at the commas that lie in no text and no inner list or object."""

    def __init__(self, longest: int) -> None:
        self._longest, self._depth, self._in_text, self._escaped = longest, 0, False, False
        self._line, self._began, self._closed = 1, 1, False
        self._held, self._overlong = bytearray(), False

    def feed(self, piece: bytes) -> Numbered:
        """Yield the elements that end in this piece."""
        kept = at = int(self._escaped and bool(piece))
        self._held += piece[:at]
        self._escaped = False
        while found := (IN_TEXT if self._in_text else OUTSIDE).search(piece, at):
            at, mark = found.end(), found[0]
            if mark == b"\\":
                self._escaped = at == len(piece)
                at += 1
            elif mark == b"\n":
                self._new_line(piece[kept:at])
            elif self._parts(mark):
                self._hold(piece[kept : at - 1])
                kept = at
                yield from self._taken(may_be_empty=mark != b",")
        self._hold(piece[kept:])

    def rest(self) -> Numbered:
        """Yield what is left: of an array cut off, or after its end."""
        if not self._closed:
            self._hold(b"\x00")  # an element not followed by a comma or the end may be cut off within
        yield from self._taken(may_be_empty=True)

    def _parts(self, mark: bytes) -> bool:
        """Follow the depth; tell whether an element, or the array, begins or ends here."""
        if mark == b'"':
            self._in_text = not self._in_text
        elif mark in b"[{":
            self._depth += 1
            return self._depth == 1 and not self._closed
        elif mark in b"]}":
            self._depth -= 1
            self._closed = self._closed or self._depth == 0
            return self._depth == 0
        return mark == b"," and self._depth == 1

    def _new_line(self, since: bytes) -> None:
        self._line += 1
        if not self._overlong and not self._held.strip() and not since.strip():
            self._began = self._line

    def _hold(self, more: bytes) -> None:
        self._held += more
        if len(self._held) > self._longest:
            self._held, self._overlong = bytearray(), True

    def _taken(self, may_be_empty: bool) -> Numbered:
        text, began = bytes(self._held), self._began
        overlong, self._held, self._overlong, self._began = self._overlong, bytearray(), False, self._line
        if overlong:
            yield began, LineTooLong()
        elif text.strip() or not may_be_empty:
            yield began, text
