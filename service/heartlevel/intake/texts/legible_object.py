"""Pressures that are legible somewhere in an object that is no request, no reading, or a resource where none is read."""

from collections import deque
from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import chain, islice, product
from string import digits
from typing import Any, TypeAlias

from heartlevel.intake.texts.json_text import Repeated, each_value, items_legible_in
from heartlevel.intake.texts.legible_number import PAIR, legible_numbers
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.intake.written import MOST_NAMES_KEPT, letters_of, meant_by
from heartlevel.vocabulary import PRESSURE_CODES, PRESSURE_NAMES, PRESSURES

Pair: TypeAlias = tuple[float | None, float | None]  # systolic and diastolic
UNKNOWN: Pair = (None, None)
MOST_PAIRS, MOST_LOOKED_AT = 5_000, 100_000
MOST_KEYS = 30  # of a reading, looked at for a pressure by another name
NAMED = {letters_of(name): pressure for pressure, names in PRESSURE_NAMES.items() for name in (pressure, *names)}
BEGINNINGS = {name[0] for name in NAMED}
COMPONENT = "component"  # of an Observation of FHIR: its pressures are one reading
WITHIN_TEXTS = (*PRESSURES, *PRESSURE_CODES)
# Names of what both pressures stand under, as 142/88 or as a list.
OF_BOTH = frozenset({"bp", "bloodpressure", "pressure", "reading", "readings", "value", "values", "valuestring"})


def pairs_within(sent: object) -> tuple[Pair, ...]:
    """Return the pairs of pressures in what was sent, however deep; one of which nothing is known where there are none."""
    waiting, pairs, looked_at = deque([("reading", sent)]), list[Pair](), 0
    while waiting and looked_at < MOST_LOOKED_AT and len(pairs) < MOST_PAIRS:
        looked_at += 1
        name, value = waiting.popleft()
        if name in OF_BOTH and (written := _pair_listed(value)):
            pairs.append(written)
        elif isinstance(value, (list, Repeated)):
            waiting += ((name, item) for item in (value if isinstance(value, list) else value.values))
        elif isinstance(value, dict):
            pairs += _pairs_of(value)
            waiting += ((letters_of(str(key)), item) for key, item in value.items() if key != COMPONENT)
        elif isinstance(value, str) and name in OF_BOTH and (pair := PAIR.fullmatch(value)):
            pairs.append((float(pair[1]), float(pair[2])))
        elif isinstance(value, str) and any(name in value for name in WITHIN_TEXTS):  # JSON in a text of JSON
            waiting += (("reading", item) for item in legible_in(value.encode("utf-8", "replace"))["readings"])
    return tuple(pairs) or (UNKNOWN,)


def _pair_listed(value: object) -> Pair | None:
    """Return the pair that a list of two numbers is, the higher one first."""
    if not isinstance(value, list) or len(value) != len(PRESSURES):
        return None
    systolic, diastolic = (legible_numbers(number, name) for number, name in zip(value, PRESSURES, strict=True))
    return (systolic[0], diastolic[0]) if systolic and diastolic and systolic[0] > diastolic[0] else None


def _pairs_of(item: Mapping[str, Any]) -> Iterator[Pair]:
    """Yield the pairs that an object holds by itself: under names of pressures, or as a coded value of FHIR."""
    numbers: dict[str, list[float | None]] = {pressure: [] for pressure in PRESSURES}
    for key, value in item.items():
        if (pressure := pressure_named(str(key))) is not None:
            numbers[pressure] += legible_numbers(_unwrapped(value), pressure)
    parts: list[Any] = [item, *items_legible_in(item.get(COMPONENT))]
    for part in parts:
        for pressure in _pressures_coded(part):
            numbers[pressure] += legible_numbers(_unwrapped(part.get("valueQuantity")), pressure)
    systolic, diastolic = (numbers[pressure] or [None] for pressure in PRESSURES)
    pairs = product(systolic, diastolic)
    return (pair for pair in pairs if pair != UNKNOWN)


def with_pressures_repeated(reading: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a reading in which a pressure that another of its names, or it with a number, says otherwise is repeated."""
    likely = (key for key in islice(reading, MOST_KEYS) if str(key)[:1].casefold() in BEGINNINGS)
    named = [(key, name) for key in likely if (name := pressure_named(str(key))) not in (None, key)]
    repeated = {}
    for name in PRESSURES if named else ():
        others, numbers = (
            [reading[key] for key, meant in named if meant == name],
            {*legible_numbers(reading.get(name), name)},
        )
        if name in reading and any({*legible_numbers(_unwrapped(other), name)} - numbers for other in others):
            repeated[name] = Repeated((*each_value(reading[name]), *chain.from_iterable(map(each_value, others))))
    return {**reading, **repeated} if repeated else reading


@lru_cache(MOST_NAMES_KEPT)
def pressure_named(key: str) -> str | None:
    """Return the pressure that a name is one of, whatever its case and what stands between words; a number may follow."""
    return NAMED.get(letters_of(key).rstrip(digits))


@lru_cache(MOST_NAMES_KEPT)
def pressure_meant(key: str) -> str | None:
    """Return the pressure that a name is one of, a letter away from one, or holds."""
    letters = letters_of(key)
    return pressure_named(key) or meant_by(letters, NAMED) or next((name for name in PRESSURES if name in letters), None)


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
