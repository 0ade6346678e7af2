"""A JSON text, as it comes from whoever writes it: what is no value of a field costs that field alone, and says so.

A strict parser reads nearly all of them. A second, slower one reads texts with what JSON has not and many programs write
(NaN, the infinities, numbers too large for a float, half characters, bytes that are no UTF-8), and those in which a key
stands twice in an object, of which a strict parser keeps the last and says nothing.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import orjson

BOM = b"\xef\xbb\xbf"
TOO_DEEP = "depth limit exceeded"
MOST_VALUES = 400_000  # in one text; a full body of readings, of FHIR resources too, has fewer
BETWEEN_VALUES = (b",", b"[", b"{")
LONGEST_INTEGER = 20  # characters; what is longer is no 64-bit number
COLON, ESCAPED_COLON = ord(":"), b"\\u003"  # what follows the latter is a or A, or another sign between 0 and ?
COMPRESSED = {b"\x1f\x8b": "gzip", b"\x28\xb5\x2f\xfd": "zstd"}  # by first bytes: RFC 1952, RFC 8878
FIRST_BYTES, NULS_OF_UTF_32 = 8, 5  # of the first bytes of a text in ASCII half are NUL in UTF-16, three in four in UTF-32


class UnreadableText(ValueError):
    """A text that cannot be read; what the exception says holds nothing of it."""

    def __init__(self, detail: str, text: bytes = b"") -> None:
        """Keep the text, as far as there is one: something of it may be legible."""
        super().__init__(detail)
        self.text = text
        self.urgency: dict[str, Any] | None = None  # of what is legible in it, where looked at


class NotJson(UnreadableText):
    """A text that is no JSON: where it ceases to be, or which encoding it has instead of UTF-8."""

    def __init__(self, text: bytes, line: int, column: int, cure: str = "") -> None:
        """Word it for a text of several lines, and for one line among others."""
        super().__init__(f"not JSON: {cure or f'line {line}, column {column}'}", text)
        self.in_one_line = f"not JSON: {cure or f'column {column}'}"


class TooManyValues(UnreadableText):
    """A text of many tiny values: they would take many times the room and time of others as long."""

    def __init__(self, text: bytes) -> None:
        """Say how many there may be."""
        super().__init__(f"more than {MOST_VALUES} values (numbers, texts, lists, objects) in one body or line", text)


@dataclass(frozen=True, slots=True)
class Repeated:
    """The values of a key that stands more than once in its object. No field takes it: which one is meant is unknown."""

    values: tuple[Any, ...]


def agreed(value: Any) -> Any:
    """Return what a repeated key says each time, if it is the same; anything else as it is."""
    if isinstance(value, Repeated) and all(other == value.values[0] for other in value.values):
        return value.values[0]
    return value


def each_value(value: Any) -> tuple[Any, ...]:
    """Return what a key says: each value of one that is repeated, else the one that it has."""
    return value.values if isinstance(value, Repeated) else (value,)


def items_legible_in(value: object) -> Iterator[object]:
    """Yield the items of a list or, where a lone item or a repeated key stands in its place, those that it holds."""
    for part in each_value(value):
        yield from part if isinstance(part, list) else [part]


def parsed_json(raw: bytes) -> Any:
    """Return what a JSON text says, a byte order mark before it or not. Raises NotJson, TooManyValues.

    A key that stands more than once in its object has a `Repeated`.
    """
    text = raw.removeprefix(BOM)
    if len(text) > MOST_VALUES and sum(text.count(sign) for sign in BETWEEN_VALUES) > MOST_VALUES:
        raise TooManyValues(text)
    try:
        value = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        if error.msg == TOO_DEEP:
            raise _not_json(text, error) from None
        return _read_slowly(text)
    return _read_slowly(text) if _key_repeated(text, value) else value


def _key_repeated(text: bytes, value: Any) -> bool:
    """Tell whether the strict parser passed over a key: the text then has more colons than what was read from it.

    A colon in a string stays one, unless it was written as an escape: then the text has to be looked at.
    """
    if ESCAPED_COLON in text:
        return True
    try:
        kept = _colons_of(orjson.dumps(value))
    except TypeError:  # deeper than can be written
        kept = sum(_colons_in(value))
    return _colons_of(text) != kept


def _colons_of(text: bytes) -> int:
    """Count the colons of a text, several bytes at a time: `bytes.count` stops at each."""
    return int(np.count_nonzero(np.frombuffer(text, dtype=np.uint8) == COLON))


def _colons_in(value: Any) -> Iterator[int]:
    """Yield how many colons there are in each string of a value, and between its keys and values."""
    waiting = [value]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            yield len(item) + sum(key.count(":") for key in item)
            waiting += item.values()
        elif isinstance(item, list):
            waiting += item
        elif isinstance(item, str):
            yield item.count(":")


def _read_slowly(text: bytes) -> Any:
    try:
        # A byte that is no UTF-8 is read as half a character.
        written = text.decode("utf-8", "surrogateescape")
        return json.loads(written, parse_int=_integer, object_pairs_hook=_object)
    except json.JSONDecodeError as error:
        raise _not_json(text, error) from None
    except RecursionError:
        raise NotJson(text, 1, 1, "its objects and lists are nested too deep") from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    once = dict(pairs)
    if len(once) == len(pairs):
        return once
    values: dict[str, list[Any]] = {}
    for key, value in pairs:
        values.setdefault(key, []).append(value)
    return {key: Repeated(tuple(given)) if len(given) > 1 else given[0] for key, given in values.items()}


def _integer(digits: str) -> float:
    """Return an integer; a float where it is too large for a 64-bit number, as the strict parser does."""
    return int(digits) if len(digits) < LONGEST_INTEGER else float(digits)


def _not_json(text: bytes, error: json.JSONDecodeError) -> NotJson:
    return NotJson(text, error.lineno, error.colno, _other_encoding(text))


def _other_encoding(text: bytes) -> str:
    """Say what a text is instead: empty, compressed, or of wider units, with NULs or a byte order mark at its beginning."""
    if not text.strip():
        return "there is nothing in it"
    first = text[:FIRST_BYTES]
    coding = next((name for mark, name in COMPRESSED.items() if first.startswith(mark)), None)
    if coding:
        return f"the body is compressed with {coding}; name it in Content-Encoding"
    nuls = first.count(0)
    if not nuls and not first.startswith((b"\xff\xfe", b"\xfe\xff")):
        return ""
    return f"the text is in UTF-{32 if nuls >= NULS_OF_UTF_32 else 16}; send UTF-8"
