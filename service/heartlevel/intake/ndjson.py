"""JSON and NDJSON decoded: one request object, or one a line; no line is longer than allowed."""

import json
from collections.abc import Iterable, Iterator
from typing import Any, Protocol, TypeAlias

import orjson

from heartlevel.intake.decoding import Decoded, Undecodable

LONGEST_LINE = 8 * 1024 * 1024
PIECE = 64 * 1024
TOO_DEEP = "depth limit exceeded"
LONGEST_INTEGER = 20  # characters; what is longer is no 64-bit number


class Readable(Protocol):
    """What lines are read from: a file or a request's body."""

    def read(self, size: int, /) -> bytes:
        """Return at most `size` bytes, none at the end."""


class LineTooLong:
    """Stands in the place of a line longer than allowed; the line itself is passed over."""


RequestText: TypeAlias = bytes | LineTooLong
NumberedTexts: TypeAlias = Iterator[tuple[int, RequestText]]  # with the line each begins on, from 1
DecodedLine: TypeAlias = Decoded[int] | Undecodable[int]  # origins are numbers of lines


def requests_in_stream(stream: Readable) -> Iterator[DecodedLine]:
    """Decode a request a line."""
    return decode_json(numbered_lines(stream))


def requests_in_file(file: Readable) -> Iterator[DecodedLine]:
    """Decode a request a line, or the one request that is the whole file."""
    return decode_json(request_texts(file))


def decode_json(texts: Iterable[tuple[int, RequestText]]) -> Iterator[DecodedLine]:
    """Decode the text of each request; a text that is not JSON costs no other."""
    for line, text in texts:
        if isinstance(text, LineTooLong):
            yield Undecodable(line, "line-too-long", f"the line is longer than {LONGEST_LINE} bytes")
            continue
        try:
            yield Decoded(parsed_json(text), {"": line})
        except orjson.JSONDecodeError as error:
            yield Undecodable(line, "not-json", f"not JSON: column {error.colno}")


def parsed_json(raw: bytes) -> Any:
    """Return what a JSON text says. Raises orjson.JSONDecodeError, which says where it is none.

    NaN, the infinities, numbers too large for a float and half characters, which JSON has not and many programs write, are
    read, so that each costs its own value only: no field takes them.
    """
    try:
        return orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        if error.msg == TOO_DEEP:
            raise
        refused = error
    try:
        return json.loads(raw.decode("utf-8"), parse_int=_integer)
    except (ValueError, RecursionError):
        raise refused from None


def _integer(digits: str) -> float:
    """Return an integer; a float where it is too large for a 64-bit number, as the strict parser does."""
    return int(digits) if len(digits) < LONGEST_INTEGER else float(digits)


def numbered_lines(stream: Readable, longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield each line that is not blank with its number, from 1. Holds one line and one piece of the stream."""
    for number, line in enumerate(_split(stream, longest), start=1):
        if isinstance(line, LineTooLong) or line.strip():
            yield number, line


def request_texts(file: Readable, longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield the text of each request of a file: its lines, or all of it where that is one request over several lines."""
    lines = numbered_lines(file, longest)
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
    first: tuple[int, RequestText], lines: NumberedTexts, longest: int
) -> tuple[list[tuple[int, RequestText]], bytes]:
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
        parsed_json(text)
    except orjson.JSONDecodeError:
        return False
    return True


def _split(stream: Readable, longest: int) -> Iterator[RequestText]:
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
