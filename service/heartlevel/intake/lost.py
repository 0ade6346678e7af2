"""Readings that were sent and cannot be assessed: what is legible of each, so that nothing urgent is lost with it."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain, islice, product
from re import compile as pattern
from typing import Any

from heartlevel.intake.faults import Problem
from heartlevel.intake.fields import UNREAD, Choice
from heartlevel.intake.schema import ESSENTIAL, Reading
from heartlevel.intake.texts.json_text import Repeated, agreed, each_value
from heartlevel.intake.texts.legible_number import legible_numbers
from heartlevel.intake.texts.legible_object import (
    UNKNOWN,
    Pair,
    pairs_within,
    pressure_meant,
    with_pressures_repeated,
)
from heartlevel.intake.texts.legible_person import legible_person
from heartlevel.vocabulary import HIGHEST_READABLE, KPA, MMHG, MMHG_PER_KPA, SYMPTOMS

COPY = "exact-duplicate"
FIELDS, SYMPTOM = Reading().fields, Choice(SYMPTOMS)
MOST_STRANGE_KEYS = 10  # of a reading, that no field has, looked at for what they may mean
FIRST_DAY = pattern(r"\s*((?:19|20|21)[0-9]{2})-?([0-9]{2})-?([0-9]{2})(?![0-9])")


@dataclass(frozen=True, slots=True)
class LostReading:
    """What is legible of a reading that is not assessed; `codes` say why it is not.

    Each pair is what systolic and diastolic pressure may be, as sent, in `unit`; None is not legible. There are several
    pairs where a key is repeated, or where what was sent is no reading, with pressures somewhere in it. `unit` is None
    where the one sent cannot be read.
    """

    index: int  # in the list sent
    codes: tuple[str, ...]
    pairs: tuple[Pair, ...] = (UNKNOWN,)
    unit: str | None = MMHG
    setting: str | None = None
    day: date | None = None
    symptoms: tuple[str | None, ...] | None = None  # UNREAD among them for what cannot be read; None: not recorded

    @property
    def is_copy(self) -> bool:
        """Tell whether an assessed reading says the same; then nothing is lost but the copy."""
        return self.codes == (COPY,)


def unassessed_readings(
    sent: Sequence[object], assessed: Collection[int], problems: Iterable[Problem], usable: Mapping[int, Mapping[str, Any]]
) -> list[LostReading]:
    """Return the readings of the list that are not among those assessed, which are named by their index.

    `usable` are those that were read, by index: what is legible of their symptoms is known.
    """
    codes = {index: set[str]() for index in range(len(sent)) if index not in assessed}
    for problem in problems if codes else ():
        way = problem.pointer.split("/")[1:]
        if way[:1] == ["readings"] and int(way[1]) in codes and (len(way) == 2 or way[2] in ESSENTIAL["readings"]):
            codes[int(way[1])].add(problem.code)
    return [_lost(index, sent[index], tuple(sorted(codes[index])), usable.get(index)) for index in codes]


def legible_elsewhere(sent: object) -> list[LostReading]:
    """Return a reading for each pair of pressures in what was sent, where there is no list of readings in its place."""
    return [LostReading(index, (), (pair,), None) for index, pair in enumerate(pairs_within(sent)) if pair != UNKNOWN]


def _lost(index: int, sent: object, codes: tuple[str, ...], usable: Mapping[str, Any] | None) -> LostReading:
    if not isinstance(sent, dict):
        return LostReading(index, codes, pairs_within(sent), None, symptoms=_symptoms(sent))
    setting, day = _named("setting", agreed(sent.get("setting"))), _day(agreed(sent.get("taken_at")))
    if codes == (COPY,):  # its pressures are those of the reading that is assessed
        return LostReading(index, codes, setting=setting, day=day)
    sent = with_pressures_repeated(sent)
    unit = MMHG if sent.get("unit") is None else _named("unit", agreed(sent["unit"]))
    pairs = tuple(product(_pressures(sent, "systolic") or (None,), _pressures(sent, "diastolic") or (None,)))
    if pairs == (UNKNOWN,):  # in objects within it, by other names, or in a text
        pairs = pairs_within(sent)
    if unit == KPA and max(number or 0.0 for pair in pairs for number in pair) * MMHG_PER_KPA > HIGHEST_READABLE:
        unit = None  # mistaken, for it would be no blood pressure
    symptoms = _symptoms(sent) if usable is None else _symptoms_read(usable)
    return LostReading(index, codes, pairs, unit, setting, day, symptoms)


def _symptoms_read(usable: Mapping[str, Any]) -> tuple[str | None, ...] | None:
    symptoms = usable.get("symptoms")
    return None if symptoms is None else tuple(symptoms)


def _symptoms(sent: object) -> tuple[str | None, ...] | None:
    """Return what is legible of the symptoms, UNREAD too where that may not be all; None where none were recorded."""
    told = sent.get("symptoms") if isinstance(sent, dict) else None
    where = {key: sent[key] for key in ("symptoms", *_strange(sent)) if key in sent} if isinstance(sent, dict) else sent
    legible = dict.fromkeys(entry["symptom"] for entry in legible_person(where).get("symptoms", ()))
    if told is None and not legible:
        return None
    whole = isinstance(told, list) and all(isinstance(item, str) and SYMPTOM.read(item) in legible for item in told)
    return (*legible, *(() if whole else (UNREAD,)))


def _named(field: str, value: object) -> str | None:
    """Return the name of a choice, if the value can be read as one."""
    choice = FIELDS[field]
    assert isinstance(choice, Choice)
    name = choice.read(value)
    return str(name) if isinstance(name, str) and name in choice.names else None


def _pressures(sent: Mapping[str, Any], name: str) -> list[float]:
    """Return what a pressure may be: under its name or, where nothing is legible there, under names that are near to it."""
    if numbers := legible_numbers(sent.get(name), name):
        return numbers
    misspelt = [sent[key] for key in _strange(sent) if pressure_meant(key) == name]
    return legible_numbers(Repeated(tuple(chain.from_iterable(map(each_value, misspelt)))), name)


def _strange(sent: Mapping[str, Any]) -> Iterator[str]:
    return islice((key for key in sent if key not in FIELDS), MOST_STRANGE_KEYS)


def _day(taken_at: object) -> date | None:
    """Return the day that a time begins with, even where the rest cannot be read."""
    parts = FIRST_DAY.match(taken_at) if isinstance(taken_at, str) else None
    try:
        return date(*map(int, parts.groups())) if parts else None
    except ValueError:
        return None
