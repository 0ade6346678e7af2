"""Pressures that are legible somewhere in an object that is no request, no reading, or a resource where none is read."""

from collections import deque
from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any, TypeAlias

from heartlevel.intake.texts.json_text import Repeated, items_legible_in
from heartlevel.intake.texts.legible_number import PAIR, legible_numbers
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.intake.written import letters_of
from heartlevel.vocabulary import PRESSURE_CODES, PRESSURE_NAMES, PRESSURES

Pair: TypeAlias = tuple[float | None, float | None]  # systolic and diastolic
UNKNOWN: Pair = (None, None)
MOST_PAIRS, MOST_LOOKED_AT = 5_000, 100_000
NAMED = {letters_of(name): pressure for pressure, names in PRESSURE_NAMES.items() for name in (pressure, *names)}
COMPONENT = "component"  # of an Observation of FHIR: its pressures are one reading
WITHIN_TEXTS = (*PRESSURES, *PRESSURE_CODES)
OF_BOTH = frozenset({"bp", "bloodpressure", "pressure", "reading", "readings", "value", "valuestring"})  # of 142/88


def pairs_within(sent: object) -> tuple[Pair, ...]:
    """Return the pairs of pressures in what was sent, however deep; one of which nothing is known where there are none."""
    waiting, pairs, looked_at = deque([("reading", sent)]), list[Pair](), 0
    while waiting and looked_at < MOST_LOOKED_AT and len(pairs) < MOST_PAIRS:
        looked_at += 1
        name, value = waiting.popleft()
        if isinstance(value, (list, Repeated)):
            waiting += ((name, item) for item in (value if isinstance(value, list) else value.values))
        elif isinstance(value, dict):
            pairs += _pairs_of(value)
            waiting += ((letters_of(str(key)), item) for key, item in value.items() if key != COMPONENT)
        elif isinstance(value, str) and name in OF_BOTH and (pair := PAIR.fullmatch(value)):
            pairs.append((float(pair[1]), float(pair[2])))
        elif isinstance(value, str) and any(name in value for name in WITHIN_TEXTS):  # JSON in a text of JSON
            waiting += (("reading", item) for item in legible_in(value.encode("utf-8", "replace"))["readings"])
    return tuple(pairs) or (UNKNOWN,)


def _pairs_of(item: Mapping[str, Any]) -> Iterator[Pair]:
    """Yield the pairs that an object holds by itself: under names of pressures, or as a coded value of FHIR."""
    numbers: dict[str, list[float | None]] = {pressure: [] for pressure in PRESSURES}
    for key, value in item.items():
        if (pressure := NAMED.get(letters_of(str(key)))) is not None:
            numbers[pressure] += legible_numbers(_unwrapped(value), pressure)
    parts: list[Any] = [item, *items_legible_in(item.get(COMPONENT))]
    for part in parts:
        for pressure in _pressures_coded(part):
            numbers[pressure] += legible_numbers(_unwrapped(part.get("valueQuantity")), pressure)
    systolic, diastolic = (numbers[pressure] or [None] for pressure in PRESSURES)
    pairs = product(systolic, diastolic)
    return (pair for pair in pairs if pair != UNKNOWN)


def _unwrapped(value: Any) -> Any:
    """Return the number that an object holds as its value, or a list as its only item."""
    if isinstance(value, list) and len(value) == 1:
        return value[0]
    return value.get("value") if isinstance(value, dict) else value


def _pressures_coded(part: Any) -> set[str]:
    """Return what an Observation, or a component of one, is a value of by its codes."""
    concept = part.get("code") if isinstance(part, dict) else None
    codings = items_legible_in(concept.get("coding")) if isinstance(concept, dict) else ()
    codes = {str(coding.get("code")) for coding in codings if isinstance(coding, dict)}
    return {pressure for code, pressure in PRESSURE_CODES.items() if code in codes}
