"""A patient as written becomes a request, with the place in the file of everything in it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from heartlevel.intake.faults import Problem
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault

SUBJECT = {"id": "patient"}


class NoSeries(Exception):
    """A series is not written as one; `path` leads to it within the patient."""

    def __init__(self, path: KeyPath, detail: str) -> None:
        """Keep the place beside the text."""
        super().__init__(detail)
        self.path = path


@dataclass(frozen=True, slots=True)
class Vignette:
    """A patient: the request, and from which place of the file each of its readings comes."""

    entry: Entry
    request: Mapping[str, Any]
    origins: tuple[KeyPath, ...]  # of the readings, within the patient

    @property
    def who(self) -> str:
        """Who it is."""
        return str(self.entry.item["who"])

    @property
    def expect(self) -> Mapping[str, Any]:
        """What must come of it, as written."""
        expected: Mapping[str, Any] = self.entry.item["expect"]
        return expected

    def origin_of(self, pointer: str) -> KeyPath:
        """Return the place in the patient that a JSON Pointer into the request leads to."""
        steps = pointer.split("/")[1:]
        if steps[:1] == ["readings"] and len(steps) > 1 and int(steps[1]) < len(self.origins):
            return (*self.origins[int(steps[1])], *steps[2:])
        return ("request", *(int(step) if step.isdigit() else step for step in steps))

    def refused(self, fault: Problem) -> RuleFault:
        """Make the fault of something in the request that cannot be read and was not meant to be so."""
        detail = f"'{self.who}': {fault.pointer or '/'}: {fault.detail}"
        return self.entry.fault(self.origin_of(fault.pointer), "refused-request", detail, fault.hint)


def vignette_of(entry: Entry) -> Vignette:
    """Return the patient of an entry that is as declared. Raises NoSeries."""
    item = entry.item
    written = mapping(item, "request")
    readings = [(_path("request", "readings", index), row) for index, row in enumerate(_items(written.get("readings")))]
    for index, block in enumerate(item.get("series") or ()):
        path = _path("series", index)
        readings += [(path, row) for row in _expanded(block, path)]
    request = {"subject": SUBJECT, **written}
    if readings:
        request["readings"] = [row for _, row in readings]
    return Vignette(entry, request, tuple(path for path, _ in readings))


def _items(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _path(*keys: str | int) -> KeyPath:
    return keys


def _expanded(block: Mapping[str, Any], path: KeyPath) -> Iterator[dict[str, Any]]:
    shared = {"setting": "home", **mapping(block, "every")}
    for day in range(int(block.get("days") or 1)):
        for clock, sitting in mapping(block, "at").items():
            begin = _moment(block["from"], clock, path) + timedelta(days=day)
            for minute, pressures in enumerate(_sitting(sitting, (*path, "at", clock))):
                moment = (begin + timedelta(minutes=minute)).isoformat()
                yield {"taken_at": moment, **pressures, **shared}


def _moment(day: str, clock: str, path: KeyPath) -> datetime:
    try:
        return datetime.fromisoformat(f"{day}T{clock}")
    except ValueError as error:
        raise NoSeries(path, f"'{day}' at '{clock}' is no day and time of day: 2026-03-02 at \"07:10\"") from error


def _sitting(sitting: object, path: KeyPath) -> list[dict[str, Any]]:
    pairs: list[Any] = sitting if isinstance(sitting, list) else [None]
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise NoSeries(path, "a sitting is a list of readings, each [systolic, diastolic]")
    return [dict(zip(("systolic", "diastolic"), pair, strict=True)) for pair in pairs]
