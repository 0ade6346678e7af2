"""Lines of a stream, one at a time and never longer than allowed."""

from collections.abc import Iterator
from typing import Protocol

import orjson

LONGEST_LINE = 8 * 1024 * 1024
PIECE = 64 * 1024


class Readable(Protocol):
    """What lines are read from: a file or a request's body."""

    def read(self, size: int, /) -> bytes:
        """Return at most `size` bytes, none at the end."""


class LineTooLong:
    """Stands in the place of a line longer than allowed; the line itself is passed over."""


def lines_of(stream: Readable, longest: int = LONGEST_LINE) -> Iterator[tuple[int, bytes | LineTooLong]]:
    """Yield each line that is not blank with its number, from 1. Holds one line and one piece of the stream."""
    for number, line in enumerate(_split(stream, longest), start=1):
        if isinstance(line, LineTooLong) or line.strip():
            yield number, line


def requests_in(file: Readable, longest: int = LONGEST_LINE) -> Iterator[tuple[int, bytes | LineTooLong]]:
    """Yield the requests of a file: its lines, or the whole of it where that is one request over several lines."""
    lines = lines_of(file, longest)
    first = next(lines, None)
    if first is None:
        return
    if isinstance(first[1], LineTooLong) or _is_json(first[1]):
        yield first
        yield from lines
        return
    held, text = _held_back(first, lines, longest)
    yield from [(1, text)] if _is_json(text) else held
    yield from lines


def _held_back(
    first: tuple[int, bytes | LineTooLong], lines: Iterator[tuple[int, bytes | LineTooLong]], longest: int
) -> tuple[list[tuple[int, bytes | LineTooLong]], bytes]:
    """Hold lines back, up to the length of the longest request, while they may be one request together."""
    held, text = [first], first[1] if isinstance(first[1], bytes) else b""
    for number, line in lines:
        held.append((number, line))
        if isinstance(line, LineTooLong) or len(text) + len(line) > longest:
            break
        text += b"\n" + line
    return held, text


def _is_json(text: bytes) -> bool:
    try:
        orjson.loads(text)
    except orjson.JSONDecodeError:
        return False
    return True


def _split(stream: Readable, longest: int) -> Iterator[bytes | LineTooLong]:
    rest = bytearray()
    overlong = False
    while piece := stream.read(PIECE):
        first, *others = piece.split(b"\n")
        rest += first
        for other in others:
            yield LineTooLong() if overlong or len(rest) > longest else bytes(rest)
            rest, overlong = bytearray(other), False
        if len(rest) > longest:
            rest, overlong = bytearray(), True
    yield LineTooLong() if overlong else bytes(rest)
