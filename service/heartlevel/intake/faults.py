"""What is wrong with a request, in words: the pointer, what was sent, what was expected, the near match."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite
from re import sub
from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import SURROGATE, Block, Choice, Items, Number, Part, Text
from heartlevel.intake.texts.json_text import Repeated

DETAILS = {
    "missing": "required, but not there; expected {expected}",
    "null": "null is not allowed here; expected {expected}",
    "unknown-key": "no field of that name is defined here",
    "too-many-names": "{found} names more than those named are there, of which no field is defined here",
    "faults-not-named": "{found} of its fields are at fault; they are not named, for many problems before are",
    "not-an-object": "found {found}; expected an object",
    "not-a-list": "found {found}; expected a list",
    "not-a-number": "found {found}; expected {expected}",
    "not-true-or-false": "found {found}; expected true or false",
    "not-a-text": "found {found}; expected {expected}",
    "text-length": "found {found}; expected {expected}",
    "not-one-of": "found {found}; expected {expected}",
    "out-of-range": "found {found}; expected {expected}",
    "too-many": "found more items than allowed; expected {expected}",
    "not-a-date": "found {found}; expected a calendar date, YYYY-MM-DD, or a date and time",
    "not-a-time-of-day": "found {found}; expected a time of day, HH:MM, such as 07:30",
    "not-a-time": "found {found}; expected a date and time with offset, such as 2026-03-02T07:10:00+01:00",
    "no-offset": "found {found} without an offset from UTC, and options.time_zone is not given",
    "no-such-local-time": "found {found}, which the clocks of the time zone skipped",
    "ambiguous-local-time": "found {found}, which the clocks of the time zone showed twice; the first was taken",
    "unknown-time-zone": "found {found}; expected an IANA time zone name",
    "unknown-device": "found {found}, which is the id of no device of this request",
    "id-repeated": "the id {found} is used more than once",
    "ends-before-it-begins": "found {found}, which is before {expected}, where it begins",
    "not-both": "given beside {expected}; only one of the two may be",
    "key-repeated": "the key is there {found} times in the same object; expected once",
    "exact-duplicate": "the same reading is there twice; this copy was left out",
    "payload-not-bytes": "found {found}; expected bytes, as hexadecimal or base64 text",
    "payload-too-short": "found {found} bytes, cut off: the first of them announces {expected}",
    "payload-too-long": "found {found} bytes: the first of them announces {expected}",
    "no-measured-value": "the device sent {found} in the place of a number for {expected}",
    "another-user": "the device's user {found} took it; most readings are those of its user {expected}",
    "unit-mistaken": "found {found}, which is {expected}; no blood pressure is that high",
}
# Kinds of field that only rule files have.
DETAILS_IN_FILES = {
    "not-a-name": "found {found}; expected small letters, digits and single hyphens between them",
    "not-a-fact-name": "found {found}; expected small letters, digits and single underscores between them",
    "not-whole": "found {found}; expected a whole number",
    "too-few": "found fewer items than needed; expected {expected}",
}
OWN_HINT = ("id-repeated",)  # the hint says what each is called
WORDS = DETAILS | DETAILS_IN_FILES
LONGEST_NAME = 80
MOST_EXACT = 2.0**53  # whole numbers above it are not all told apart by a number of JSON, read as most programs read it


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """Something in the request that could not be read; `pointer` is a JSON Pointer to it (RFC 6901)."""

    pointer: str
    code: str
    detail: str
    hint: str | None = None

    def __str__(self) -> str:
        """Write the problem on one line, the pointer first."""
        return f"{self.pointer or '/'}: {self.detail}{f' ({self.hint})' if self.hint else ''}"


def problems_written(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Return problems as they stand in an answer: one for each kind of fault of a field, with all its places.

    `pointer` and `detail` are of the first; how many more there are is said where what was found differs.
    """
    together: dict[tuple[str, str, str | None], list[Problem]] = {}
    for fault in problems:
        field, own = sub(r"/\d+(?=/|$)", "/*", fault.pointer), fault.hint if fault.code in OWN_HINT else None
        together.setdefault((fault.code, field, own), []).append(fault)
    return [_written_together(alike) for alike in together.values()]


def _written_together(alike: Sequence[Problem]) -> dict[str, Any]:
    first, pointers = alike[0], [fault.pointer for fault in alike]
    differ = any(fault.detail != first.detail for fault in alike)
    detail = f"{first.detail}; {len(alike) - 1} more of these are named in `places`" if differ else first.detail
    return {"pointer": first.pointer, "code": first.code, "detail": detail, "hint": first.hint, "places": pointers}


def problems_read(written: Iterable[Mapping[str, Any]]) -> Iterator[Problem]:
    """Yield the problems that stand in an answer, one for each of their places."""
    for fault in written:
        yield from (Problem(at, fault["code"], fault["detail"], fault["hint"]) for at in fault["places"])


def problem(pointer: str, code: str, value: object = None, expected: str = "", hint: str | None = None) -> Problem:
    """Word a problem with the value sent. `code` is a key of WORDS; of a key that is there twice it is that it is.

    `hint` is what to do about it; None is what there is to say of such a value in general.
    """
    if isinstance(value, Repeated) and code != "unknown-key":
        code, value = "key-repeated", len(value.values)
        hint = "send it once; which of its values is meant cannot be known"
    hint = hint or _cure(value)
    return Problem(pointer, code, WORDS[code].format(found=abridged(value), expected=expected), hint)


def _cure(value: object) -> str | None:
    """Say how to send what JSON has no value for, or no reader keeps whole."""
    if isinstance(value, float) and not isfinite(value):
        return "JSON has no NaN, and nothing as large as this; where there is no number, send null or leave the field out"
    if isinstance(value, (int, float)) and abs(value) > MOST_EXACT:
        return "more digits than a number of JSON holds exactly; was the decimal point lost?"
    if isinstance(value, str) and SURROGATE.search(value):
        return "half a character is in it, or a byte that is no UTF-8; send UTF-8, escapes such as \\ud83d in pairs"
    return None


def exactly_one_given(item: Mapping[str, Any], names: Sequence[str], at: str) -> list[Problem]:
    """Return what is wrong unless exactly one of the named fields is given; null counts as not given."""
    given = [name for name in names if item.get(name) is not None]
    if not given:
        return [problem(f"{at}/{names[0]}", "missing", expected=" or ".join(names))]
    return [problem(f"{at}/{name}", "not-both", expected=given[0]) for name in given[1:]]


def sorted_problems(problems: Iterable[Problem]) -> list[Problem]:
    """Sort by pointer, the numbers in it as numbers, and drop repetitions."""
    return sorted(set(problems), key=lambda problem: (padded(problem.pointer), problem.code))


def padded(text: str) -> str:
    """Return the text with its numbers widened, so that 2 sorts before 10."""
    return sub(r"\d+", lambda digits: digits[0].zfill(12), text)


def abridged(value: object) -> str:
    """Show a value found in a request, shortened; containers by their kind only."""
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, str):
        return f"'{writable(value[:40])}{'…' if len(value) > 40 else ''}'"
    if isinstance(value, (int, float)):
        return "a number far too large" if abs(value) >= 1e15 else f"{value:.15g}"
    if isinstance(value, list):
        return "a list"
    return "an object" if isinstance(value, dict) else "something else"


def near(name: object, allowed: Iterable[str]) -> str | None:
    """Suggest the closest allowed name, else list the allowed ones."""
    names = list(allowed)
    if meant := closest(name, names):
        return f"did you mean '{meant}'?"
    return f"one of: {', '.join(names)}" if 0 < len(names) <= 40 else None


def closest(name: object, allowed: Iterable[str]) -> str | None:
    """Return the allowed name that `name` is probably a misspelling of; None if it is near to none."""
    by_lower_case = {word.lower(): word for word in allowed}
    # Only a short text can be misspelt; comparing takes time by the text's length.
    text = name[:LONGEST_NAME].lower() if isinstance(name, str) else ""
    match = get_close_matches(text, by_lower_case, n=1, cutoff=0.6)
    return by_lower_case[match[0]] if match else None


def expected_by(field: fields.Field[Any] | None) -> str:
    """Word what a field accepts."""
    match field:
        case Number():
            unit = field.metadata.get("unit", "")
            return f"a number from {field.low:g} to {field.high:g} {unit}".rstrip(" 1")
        case Choice():
            return f"one of {', '.join(field.names)}"
        case Text():
            return f"a text of 1 to {field.longest} characters"
        case Items():
            fewest = f"at least {field.least} and " if field.least else ""
            return f"a list of {fewest}at most {field.longest}"
        case Part():
            return "an object"
        case _:
            return "a value"


def from_messages(messages: Mapping[Any, Any], block: Block, raw: object, at: str) -> Iterator[Problem]:
    """Turn marshmallow's nested codes into problems; `at` is the pointer of the object checked, `raw` the object."""
    for key, inner in messages.items():
        # In an object, marshmallow's key for faults of the whole can only be a field sent under that name.
        if key == "_schema" and not isinstance(raw, dict):
            yield from (problem(at, code, raw) for code in inner)
            continue
        value = raw.get(key) if isinstance(raw, dict) else None
        yield from _field_problems(inner, _declared(block).get(key), block, key, value, f"{at}/{escaped(key)}")


def _declared(block: Block) -> dict[object, fields.Field[Any]]:
    """Return the block's fields under the names they have on the wire."""
    return {field.data_key or name: field for name, field in block.fields.items()}


def _field_problems(
    inner: Any, field: fields.Field[Any] | None, block: Block, key: object, value: object, at: str
) -> Iterator[Problem]:
    if isinstance(inner, dict):
        if isinstance(field, Part):
            yield from from_messages(inner, field.schema, value, at)  # type: ignore[arg-type]
        elif isinstance(field, Items):
            for index, deeper in inner.items():
                item = value[index] if isinstance(value, list) else None
                yield from _field_problems(deeper, field.inner, block, index, item, f"{at}/{index}")
        return
    for code in inner:
        yield problem(at, code, value, expected_by(field), _hint(code, field, block, key, value))


def _hint(code: str, field: fields.Field[Any] | None, block: Block, key: object, value: object) -> str | None:
    if code == "unknown-key":
        return near(key, map(str, _declared(block)))
    if code == "not-one-of" and isinstance(field, Choice):
        return near(value, field.names)
    if code == "out-of-range" and isinstance(field, Number) and isinstance(value, (int, float)):
        return _digit_hint(value, field)
    return None


def _digit_hint(value: float, field: Number) -> str | None:
    """Name the possible values with a digit left out, where a digit was probably doubled or added."""
    digits = abridged(value)
    if not digits.isdigit() or not 4 <= len(digits) <= 6:
        return None
    fewer = {int(digits[:i] + digits[i + 1 :]) for i in range(len(digits))}
    fitting = sorted(number for number in fewer if field.low <= number <= field.high)
    return f"a digit too many? {' or '.join(map(str, fitting))}" if fitting else None


def escaped(key: object) -> str:
    """Escape a key for a JSON Pointer."""
    return writable(str(key)).replace("~", "~0").replace("/", "~1")


def writable(text: str) -> str:
    """Replace lone surrogates, which cannot be written as UTF-8."""
    return text.encode("utf-8", "replace").decode()
