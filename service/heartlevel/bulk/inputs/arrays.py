"""The texts of the requests in a JSON file: lines, one object, or the elements of one array, none longer than allowed."""

from re import compile as pattern
from typing import IO

from heartlevel.bulk.inputs.opening import beginning
from heartlevel.intake.ndjson import LONGEST_LINE, PIECE, LineTooLong, NumberedTexts, request_texts

OUTSIDE = pattern(rb'["\[\]{},\n]')
IN_TEXT = pattern(rb'["\\\n]')


def split_json(file: IO[bytes], longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield each request's text with the line it begins on."""
    if beginning(file).lstrip().startswith(b"["):
        return elements_of(file, longest)
    return request_texts(file, longest)


def elements_of(file: IO[bytes], longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield each element of an array. Holds an element and a piece of the file.

    What follows the array's end, and an element cut off, are yielded as elements too, and then are found not to be JSON.
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

    def feed(self, piece: bytes) -> NumberedTexts:
        """Yield the elements that end in this piece."""
        kept = at = int(self._escaped and bool(piece))
        self._held += piece[:at]
        self._escaped = False
        while match := (IN_TEXT if self._in_text else OUTSIDE).search(piece, at):
            at, mark = match.end(), match[0]
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

    def rest(self) -> NumberedTexts:
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

    def _taken(self, may_be_empty: bool) -> NumberedTexts:
        text, began = bytes(self._held), self._began
        overlong, self._held, self._overlong, self._began = self._overlong, bytearray(), False, self._line
        if overlong:
            yield began, LineTooLong()
        elif text.strip() or not may_be_empty:
            yield began, text
