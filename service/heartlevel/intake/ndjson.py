"""JSON and NDJSON decoded: one request object, or one a line; no line is longer than allowed."""

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeAlias

from heartlevel.intake.decoding import Decoded, Undecodable
from heartlevel.intake.texts.json_text import NotJson, TooManyValues, UnreadableText, parsed_json
from heartlevel.intake.texts.legible_text import legible_in

LONGEST_LINE = 8 * 1024 * 1024
PIECE = 64 * 1024


class Readable(Protocol):
    """What lines are read from: a file or a request's body."""

    def read(self, size: int, /) -> bytes:
        """Return at most `size` bytes, none at the end. Raises BrokenBody."""


class BrokenBody(UnreadableText):
    """What is read was compressed, and cannot be read on."""


class LineTooLong:
    """Stands in the place of a line longer than allowed; the line itself is passed over."""


class LineBroken:
    """Stands in the place of the line in which what is read cannot be read on."""

    def __init__(self, detail: str, begun: bytes) -> None:
        """Keep why, and how the line begins."""
        self.detail, self.begun = detail, begun


RequestText: TypeAlias = bytes | LineTooLong | LineBroken
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
        if isinstance(text, LineBroken):
            yield Undecodable(line, "damaged", text.detail, legible_in(text.begun), len(text.begun))
            continue
        try:
            yield Decoded(parsed_json(text), {"": line}, len(text))
        except NotJson as error:
            yield Undecodable(line, "not-json", error.in_one_line, legible_in(text), len(text))
        except TooManyValues as error:
            yield Undecodable(line, "too-many-values", str(error), legible_in(text), len(text))


def numbered_lines(stream: Readable, longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield each line that is not blank with its number, from 1. Holds one line and one piece of the stream."""
    for number, line in enumerate(_split(stream, longest), start=1):
        if not isinstance(line, bytes) or line.strip():
            yield number, line


def request_texts(file: Readable, longest: int = LONGEST_LINE) -> NumberedTexts:
    """Yield the text of each request of a file: its lines, or all of it where that is one request over several lines."""
    lines = numbered_lines(file, longest)
    first = next(lines, None)
    if first is None:
        return
    if not isinstance(first[1], bytes) or _is_json(first[1]):
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
        if not isinstance(line, bytes) or len(text) + len(line) > longest:
            break
        text += b"\n" + line
    return held, text


def _is_json(text: bytes) -> bool:
    try:
        parsed_json(text)
    except NotJson:
        return False
    except TooManyValues:
        return True  # told as such, by who reads it
    return True


def _split(stream: Readable, longest: int) -> Iterator[RequestText]:
    rest = bytearray()
    overlong = False
    while piece := _piece(stream):
        if isinstance(piece, LineBroken):
            yield LineBroken(piece.detail, bytes(rest) + piece.begun)
            return
        first, *others = piece.split(b"\n")
        rest += first
        for other in others:
            yield LineTooLong() if overlong or len(rest) > longest else bytes(rest)
            rest, overlong = bytearray(other), False
        if len(rest) > longest:
            rest, overlong = bytearray(), True
    yield LineTooLong() if overlong else bytes(rest)


def _piece(stream: Readable) -> bytes | LineBroken:
    try:
        return stream.read(PIECE)
    except BrokenBody as error:
        return LineBroken(str(error), error.text)
