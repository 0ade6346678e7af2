"""Where an answer is not what was expected of a patient: what, expected, what came, and the near match."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import orjson

from heartlevel.intake.faults import closest
from heartlevel.ruling.language.faults import KeyPath
from heartlevel.vignettes.told import Answer, told_in

ALIKE = ("category", "pattern", "urgent", "level", "first_step", "problems", "reliabilities")
# What must stand in a list or a text; and what must not, by where it is looked for.
CONTAINED = ("findings", "next_steps", "statements", "says", "advises")
NOT_CONTAINED = {"absent": "findings", "not_next_steps": "next_steps"}
LONGEST_SHOWN = 200


@dataclass(frozen=True, slots=True)
class Difference:
    """A point on which the answer is another: its path within `expect`, both, and the near match."""

    path: KeyPath
    expected: str
    came: str
    hint: str | None = None

    def __str__(self) -> str:
        """Write what was expected and what came."""
        return f"{'.'.join(map(str, self.path))}: {self.expected} was expected, {self.came} came"


def differences_of(expect: Mapping[str, Any], answer: Answer) -> Iterator[Difference]:
    """Yield each point on which an answer is not as expected. Where problems are not spoken of, there are none."""
    told = told_in(answer)
    for name in ALIKE:
        if name in expect and told[name] != expect[name]:
            yield _difference((name,), expect[name], told[name])
    for name in CONTAINED:
        for index, wanted in enumerate(expect.get(name) or ()):
            if wanted not in told[name] and wanted.lower() not in _text(told[name]):
                yield _missing((name, index), wanted, told[name])
    for name, source in NOT_CONTAINED.items():
        for index, unwanted in enumerate(expect.get(name) or ()):
            if unwanted in told[source]:
                yield Difference((name, index), f"no '{unwanted}'", f"'{unwanted}'")
    for name in ("reliability", "averages"):
        yield from _by_key(name, expect.get(name) or {}, told[name])
    yield from parts_differing(("answer",), expect.get("answer") or {}, answer)


def _text(told: object) -> str:
    return told.lower() if isinstance(told, str) else ""


def _missing(path: KeyPath, wanted: str, told: Collection[str]) -> Difference:
    return Difference(path, f"'{wanted}'", _shown(told), None if isinstance(told, str) else _meant(wanted, told))


def _meant(name: str, allowed: Iterable[str]) -> str | None:
    meant = closest(name, allowed)
    return f"did you mean '{meant}'?" if meant else None


def _difference(path: KeyPath, expected: Any, came: Any) -> Difference:
    return Difference(path, _shown(expected), _shown(came))


def _by_key(name: str, expected: Mapping[str, Any], told: Mapping[str, Any]) -> Iterator[Difference]:
    for key, wanted in expected.items():
        if told.get(key) != wanted:
            hint = None if key in told else _meant(key, told)
            yield Difference((name, key), _shown(wanted), _shown(told.get(key)), hint)


def parts_differing(path: KeyPath, expected: Any, came: Any) -> Iterator[Difference]:
    """Yield where what came lacks a part of what was expected: fields may be left out, items of lists may not.

    A field that is not there is like null.
    """
    if isinstance(expected, dict) and isinstance(came, dict):
        for key, wanted in expected.items():
            if key not in came and wanted is not None:
                yield Difference((*path, key), _shown(wanted), "no such field", _meant(key, came))
            else:
                yield from parts_differing((*path, key), wanted, came.get(key))
    elif isinstance(expected, list) and isinstance(came, list) and len(expected) == len(came):
        for index, wanted in enumerate(expected):
            yield from parts_differing((*path, index), wanted, came[index])
    elif expected != came:
        yield _difference(path, expected, came)


def _shown(value: Any) -> str:
    text = orjson.dumps(value, default=str).decode().replace('"', "'")
    return f"{text[:LONGEST_SHOWN]}…" if len(text) > LONGEST_SHOWN else text
