"""Pressures that are legible somewhere in an object that is no request, no reading, or a resource where none is read."""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, islice, product
from string import digits
from typing import Any, TypeAlias

from heartlevel.intake.texts.json_text import Repeated, each_value, items_legible_in
from heartlevel.intake.texts.legible_number import PAIR, ends_of, legible_numbers
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.intake.written import Meanings, letters_of, letters_of_each, meant_by, remembered
from heartlevel.vocabulary import PRESSURE_CODES, PRESSURE_NAMES, PRESSURES

Pair: TypeAlias = tuple[float | None, float | None]  # systolic and diastolic
UNKNOWN: Pair = (None, None)
MOST_PAIRS, MOST_LOOKED_AT = 5_000, 100_000
MOST_KEYS = 30  # of a reading, looked at for a pressure by another name
NAMED = Meanings({letters_of(name): pressure for pressure, names in PRESSURE_NAMES.items() for name in (pressure, *names)})
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
        if pair := _pair_under(name, value):
            pairs.append(pair)
        elif isinstance(value, (list, Repeated)):
            waiting += ((name, item) for item in (value if isinstance(value, list) else value.values))
        elif isinstance(value, dict):
            pairs += _pairs_of(value)
            waiting += ((str(key), item) for key, item in value.items() if key != COMPONENT)
        elif isinstance(value, str) and any(map(value.__contains__, WITHIN_TEXTS)):  # JSON in a text of JSON
            waiting += (("reading", item) for item in legible_in(value.encode("utf-8", "replace"))["readings"])
    return tuple(pairs) or (UNKNOWN,)


def _pair_under(name: str, value: object) -> Pair | None:
    """Return the pair that a text such as 142/88, or a list of two numbers, is under a name that both pressures have."""
    written = PAIR.fullmatch(value) if isinstance(value, str) else None
    listed = value if isinstance(value, list) and len(value) == len(PRESSURES) else None
    if not (written or listed) or letters_of(name) not in OF_BOTH:
        return None
    return (float(written[1]), float(written[2])) if written else _pair_listed(listed or [])


def _pair_listed(value: list[object]) -> Pair | None:
    """Return the pair that a list of two numbers is, the higher one first."""
    systolic, diastolic = (legible_numbers(number, name) for number, name in zip(value, PRESSURES, strict=True))
    return (systolic[0], diastolic[0]) if systolic and diastolic and systolic[0] > diastolic[0] else None


def _pairs_of(item: Mapping[str, Any]) -> Iterator[Pair]:
    """Yield the pairs that an object holds by itself: under names of pressures, or as a coded value of FHIR."""
    numbers: dict[str, list[float]] = {pressure: [] for pressure in PRESSURES}
    for pressure, value in zip(pressures_named([*map(str, item)]), item.values(), strict=True):
        if pressure is not None:
            numbers[pressure] += legible_numbers(_unwrapped(value), pressure)
    parts: list[Any] = [item, *items_legible_in(item.get(COMPONENT))]
    for part in parts:
        for pressure in _pressures_coded(part):
            numbers[pressure] += legible_numbers(_unwrapped(part.get("valueQuantity")), pressure)
    legible: list[list[float] | list[None]] = [ends_of(numbers[pressure]) or [None] for pressure in PRESSURES]
    systolic, diastolic = legible
    return (pair for pair in product(systolic, diastolic) if pair != UNKNOWN)


def with_pressures_repeated(reading: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a reading in which a pressure that another of its names, or it with a number, says otherwise is repeated."""
    likely = [key for key in islice(reading, MOST_KEYS) if key[:1].casefold() in BEGINNINGS]
    named = [(key, name) for key, name in zip(likely, pressures_named(likely), strict=True) if name not in (None, key)]
    repeated = {}
    for name in PRESSURES if named else ():
        others, numbers = (
            [reading[key] for key, meant in named if meant == name],
            {*legible_numbers(reading.get(name), name)},
        )
        if name in reading and any({*legible_numbers(_unwrapped(other), name)} - numbers for other in others):
            repeated[name] = Repeated((*each_value(reading[name]), *chain.from_iterable(map(each_value, others))))
    return {**reading, **repeated} if repeated else reading


def pressures_named(keys: Sequence[str]) -> list[str | None]:
    """Return the pressure that each name is one of, whatever its case and what is between words; a number may follow."""
    return [NAMED.get(letters.rstrip(digits)) for letters in letters_of_each(keys)]


@remembered
def pressure_meant(key: str) -> str | None:
    """Return the pressure that a name is one of, a letter away from one, or holds."""
    letters = letters_of(key)
    pressure = NAMED.get(letters.rstrip(digits)) or meant_by(letters, NAMED)
    return pressure or next((name for name in PRESSURES if name in letters), None)


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
