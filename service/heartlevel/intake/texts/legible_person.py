"""What is legible of a person who is not described as declared, as far as it decides how urgent a pressure is."""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from re import compile as pattern
from typing import Any

from heartlevel.intake.fields import UNREAD
from heartlevel.intake.texts.json_text import Repeated, items_legible_in
from heartlevel.intake.texts.legible_number import legible_numbers
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.intake.written import Meanings, day_written, letters_of, meant_by, remembered
from heartlevel.vocabulary import SYMPTOMS

MOST_NAMES = 12  # at fault; those of declared fields come first
MOST_LOOKED_AT, MOST_IN_LISTS, LONGEST_LIST = 20_000, 200, 1_000
TRUE = frozenset({"true", "yes", "y", "1", "ja", "si", "sí"})
FLAGS = {"pregnant": "pregnant", "pregnancy": "pregnant", "fainting": "fainting"}
SINCE_BIRTH = "days_since_birth"
UNDER = Meanings({**FLAGS, letters_of(SINCE_BIRTH): SINCE_BIRTH, "symptoms": "symptoms", "symptom": "symptoms"})
WITHIN_TEXTS = ("symptom", "pregnant", "fainting", SINCE_BIRTH)
WORDS = pattern(r'[^,;|:{}\[\]"\n]{4,64}')  # of an item of a list in a text
# Names of symptoms, and those that a name is made of: `weakness` of `weakness-or-numbness`.
BY_LETTERS = Meanings({letters_of(part): name for name in SYMPTOMS for part in (name, *name.split("-or-"))})

Entry = dict[str, Any]  # as an item of `subject.symptoms`


def legible_person(sent: object) -> dict[str, Any]:
    """Return details of a subject that are legible in what was sent, however deep and whatever its shape.

    `symptoms`, `pregnant`, `fainting` and `days_since_birth`, each as declared and only where something of it is legible:
    a flag that is so in some way of writing, a symptom by its name or nearly so. Nothing is taken from free text.
    """
    person: dict[str, Any] = {}
    waiting, looked_at = deque([sent]), 0
    while waiting and looked_at < MOST_LOOKED_AT:
        looked_at += 1
        value = waiting.popleft()
        if isinstance(value, (list, Repeated)):
            waiting += items_legible_in(value)
        elif isinstance(value, str) and any(map(value.__contains__, WITHIN_TEXTS)):  # JSON in a text of JSON
            waiting.append(legible_in(value.encode("utf-8", "replace"))["subject"])
        elif isinstance(value, dict):
            for key, item in value.items():
                name = _detail_named(str(key))
                if name is None:
                    waiting.append(item)
                else:
                    _add(person, name, item)
    return person


@remembered
def _detail_named(key: str) -> str | None:
    return meant_by(letters_of(key), UNDER)


def _add(person: dict[str, Any], name: str, value: object) -> None:
    if name in FLAGS:
        if any(map(_is_true, plain_values(value))):
            person[name] = True
    elif name == SINCE_BIRTH:
        days = [number for leaf in plain_values(value) for number in legible_numbers(leaf, SINCE_BIRTH)]
        if days:
            person[SINCE_BIRTH] = min([*days, person.get(SINCE_BIRTH, days[0])])
    elif entries := legible_symptoms(value):
        known = person.setdefault("symptoms", [])
        known += [entry for entry in entries if entry not in known]


def may_decide(value: object) -> bool:
    """Tell whether a value under an unknown name could be an age, a pregnancy or the days since a birth."""
    return any(_may_decide(leaf) for leaf in plain_values(value))


def _may_decide(leaf: object) -> bool:
    if isinstance(leaf, str):
        return any(sign.isdigit() for sign in leaf) or _is_true(leaf) or _detail_named(leaf) is not None
    return leaf is not None


def with_legible(
    item: dict[str, Any], sent: Mapping[str, Any], faults: Iterable[Any], *, is_reading: bool = False
) -> dict[str, Any]:
    """Add to a subject or a reading what is legible under the names at fault: the fault is named, and mutes nothing.

    Symptoms stand beside those that were read, and with UNREAD: what is not among them is not known to be absent.
    """
    legible = legible_person({key: sent[key] for key in islice(faults, MOST_NAMES) if key in sent})
    entries: list[Any] = legible.pop("symptoms", [])
    if is_reading:
        legible, entries = {}, list(dict.fromkeys(entry["symptom"] for entry in entries))
    if not entries:
        return legible | item
    known = item.get("symptoms") or []
    return legible | item | {"symptoms": [*known, *(entry for entry in entries if entry not in known), UNREAD]}


def legible_symptoms(value: object) -> list[Entry]:
    """Return the symptoms named in a value, as items of `subject.symptoms`: with the day beside each, if there is one.

    In an object a symptom may be a key too, of something that is true.
    """
    entries: list[Entry] = []
    waiting: deque[tuple[object, str | None]] = deque([(value, None)])
    for _ in range(MOST_IN_LISTS):
        if not waiting:
            break
        item, day = waiting.popleft()
        if isinstance(item, str):
            entries += [_entry(name, day) for name in _named_in(item) if _entry(name, day) not in entries]
        elif isinstance(item, (list, Repeated)):
            waiting += ((part, day) for part in items_legible_in(item))
        elif isinstance(item, dict):
            day = _day_in(item) or day
            waiting += ((key, day) for key, part in item.items() if any(map(_is_true, plain_values(part))))
            waiting += ((part, day) for part in item.values())
    return entries


def _named_in(text: str) -> Iterator[str]:
    words = (match[0].strip() for match in WORDS.finditer(text[:LONGEST_LIST]))
    return (name for word in words if (name := meant_by(letters_of(word), BY_LETTERS)))


def _entry(name: str, day: str | None) -> Entry:
    return {"symptom": name} | ({"on": day} if day else {})


def _day_in(item: Mapping[str, Any]) -> str | None:
    written = item.get("on")
    day = day_written(written) if isinstance(written, str) else None
    return day.isoformat() if day else None


def plain_values(value: object) -> Iterator[object]:
    """Yield what a value holds that is neither list nor object, the value itself if it is neither."""
    waiting = deque([value])
    for _ in range(MOST_LOOKED_AT):
        if not waiting:
            return
        item = waiting.popleft()
        if isinstance(item, (list, Repeated)):
            waiting += items_legible_in(item)
        elif isinstance(item, dict):
            waiting += item.values()
        else:
            yield item


def _is_true(value: object) -> bool:
    return value is True or value == 1 or (isinstance(value, str) and value.strip().casefold() in TRUE)
