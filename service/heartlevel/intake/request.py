"""Reading one request: what could be read, and a problem for each thing that could not."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, cast
from zoneinfo import ZoneInfo

from marshmallow import ValidationError

from heartlevel.intake.blocks.devices import devices_by_id, unknown_devices
from heartlevel.intake.blocks.oversized import cut_to_size, not_lists
from heartlevel.intake.blocks.periods import named_periods
from heartlevel.intake.blocks.zones import known_zones, near_zone
from heartlevel.intake.bluetooth.expanding import expanded
from heartlevel.intake.envelope import read_envelope, without_partly_read_lists
from heartlevel.intake.faults import Problem, exactly_one_given, from_messages, near, problem, sorted_problems
from heartlevel.intake.fields import Block, messages
from heartlevel.intake.lost import LostReading, unassessed_readings
from heartlevel.intake.moments import TimedReading, timed_readings
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.intake.schema import ESSENTIAL, LISTS, ONE_OF, Options
from heartlevel.intake.texts.legible_object import with_pressures_repeated
from heartlevel.intake.texts.legible_person import with_legible
from heartlevel.vocabulary import EXPLANATIONS, IN_FULL

OPTIONS = Options()
MOST_READINGS = 5_000
MOST_OTHERS = 1_000  # items of each other list
MOST_WORDED = 2_000  # problems of a list that are worded one by one; of each further item it is said how many it has


class RefusedRequest(Exception):
    """The request cannot be assessed at all: why (`problems`), and how urgent is what is legible in it, where looked at."""

    def __init__(self, problems: list[Problem], urgency: dict[str, Any] | None = None) -> None:
        """Keep the problems, sorted by pointer; they are never part of the exception's text."""
        super().__init__("the request cannot be assessed")
        self.urgency = urgency
        self.problems = sorted_problems(problems)


class TooManyReadings(Exception):
    """The request holds more readings, or of what they are sent in, than one request may."""

    def __init__(self, count: int, most: int, things: str = "readings") -> None:
        """Word both numbers."""
        super().__init__(f"{count} {things}; one request may hold {most}")


@dataclass(frozen=True, slots=True)
class Choices:
    """What the rule set in force offers."""

    guidelines: Collection[str]
    protocols: Collection[str]
    languages: Collection[str]
    default_guideline: str
    form: Form = PLAIN_FORM


@dataclass(slots=True)
class Request:
    """What one request says about one subject, readings in time order."""

    subject: dict[str, Any]
    guideline: str
    protocol: str | None  # as asked for; else that of the guideline whose limits hold
    language: str
    as_of: date | None
    strict: bool
    explain: str
    detail: str = IN_FULL  # how much of the answer is written
    also_under: tuple[str, ...] = ()  # other guidelines to be judged by too
    unclear: frozenset[str] = frozenset()  # details that decide which limits hold and could not be read
    target: dict[str, Any] | None = None  # of treatment; else the guideline's
    population: dict[str, Any] | None = None  # the people the subject is one of
    devices: dict[str, dict[str, Any]] = field(default_factory=dict)
    readings: list[TimedReading] = field(default_factory=list)
    lost: list[LostReading] = field(default_factory=list)  # all others that were sent
    checks: list[dict[str, Any]] = field(default_factory=list)
    periods: list[dict[str, Any]] = field(default_factory=list)  # as named, in order of their first days
    problems: list[Problem] = field(default_factory=list)
    in_bytes: Mapping[str, str] = field(default_factory=dict)  # pointers to parts of readings: to the bytes that hold them


def read(payload: object, choices: Choices, most_readings: int = MOST_READINGS) -> Request:
    """Read one request object.

    Raises RefusedRequest where options, the outer shape or the subject's name are at fault, TooManyReadings where
    there are more readings than allowed. Anything else that is wrong becomes a problem of the request.
    """
    envelope = read_envelope(payload, choices.form)
    values, problems = envelope.values, envelope.refusing
    sent = expanded(values.get("readings"))
    values["readings"] = sent.readings
    options = values.get("options") or {}
    faults, zone, as_of = options_of(options, choices)
    problems += faults
    problems += not_lists(values, LISTS)
    lists, skipped = _lists(values, most_readings, choices.form)
    skipped += envelope.details + sent.faults
    if problems:
        raise RefusedRequest(sent.placed(problems + skipped))
    request = empty_request(values["subject"], options, choices, as_of)
    request.also_under = tuple(options.get("also_under") or ())
    request.unclear = envelope.unclear
    request.population = options.get("population")
    request.problems = skipped
    _fill(request, lists, zone)
    assessed = {reading.index for reading in request.readings}
    request.problems = sorted_problems(sent.placed(request.problems))
    request.in_bytes = sent.parts
    request.lost = unassessed_readings(values["readings"] or (), assessed, request.problems, lists["readings"])
    return request


def empty_request(subject: dict[str, Any], options: Mapping[str, Any], choices: Choices, as_of: date | None) -> Request:
    """Return a request without readings, by options that have been checked, or their defaults."""
    return Request(
        subject=subject,
        guideline=options.get("guideline") or choices.default_guideline,
        protocol=options.get("protocol"),
        language=options.get("language") or "en",
        as_of=as_of,
        strict=bool(options.get("strict")),
        explain=options.get("explain") or EXPLANATIONS[0],
        detail=options.get("detail") or IN_FULL,
        target=options.get("target"),
    )


def _fill(request: Request, lists: dict[str, dict[int, dict[str, Any]]], zone: ZoneInfo | None) -> None:
    """Put the items of the lists into the request, and add the problems that only show among them."""
    request.devices, faults = devices_by_id(lists["devices"])
    request.readings, misplaced = timed_readings(lists["readings"], zone)
    request.checks = list(lists["device_checks"].values())
    request.periods, misnamed = named_periods(lists["periods"])
    strangers = unknown_devices(lists, request.devices)
    request.problems = sorted_problems(request.problems + faults + misplaced + misnamed + strangers)


def checked(block: Block, payload: object) -> dict[str, Any]:
    """Return a payload as its declaration reads it. Raises RefusedRequest with all its faults."""
    cut, left_out = cut_to_size(payload, block, "")
    try:
        return cast(dict[str, Any], block.load(cut))
    except ValidationError as error:
        raise RefusedRequest([*from_messages(messages(error), block, cut, ""), *left_out]) from None


def read_options(payload: object, choices: Choices) -> tuple[dict[str, Any], ZoneInfo | None, date | None]:
    """Return options that many subjects share, the zone and the date of the assessment. Raises RefusedRequest."""
    options = checked(OPTIONS, payload)
    faults, zone, as_of = options_of(options, choices)
    if faults:
        raise RefusedRequest(faults)
    return {**options, "guideline": options.get("guideline") or choices.default_guideline}, zone, as_of


def options_of(options: dict[str, Any], choices: Choices) -> tuple[list[Problem], ZoneInfo | None, date | None]:
    """Check the options whose allowed values only the rule set or the zone database knows."""
    faults = []
    for name, names in (
        ("guideline", choices.guidelines),
        ("protocol", choices.protocols),
        ("language", choices.languages),
    ):
        value = options.get(name)
        if value is not None and value not in names:
            faults.append(_unknown(f"/options/{name}", value, names))
    for index, value in enumerate(options.get("also_under") or ()):
        if value not in choices.guidelines:
            faults.append(_unknown(f"/options/also_under/{index}", value, choices.guidelines))
    zone, as_of = options.get("time_zone"), options.get("as_of")
    if zone is not None and zone not in known_zones():
        faults.append(problem("/options/time_zone", "unknown-time-zone", zone, "", near_zone(zone)))
        zone = None
    return faults, ZoneInfo(zone) if zone else None, date.fromisoformat(as_of) if as_of else None


def _unknown(pointer: str, value: str, names: Collection[str]) -> Problem:
    return problem(pointer, "not-one-of", value, f"one of {', '.join(sorted(names))}", near(value, sorted(names)))


def _lists(
    envelope: dict[str, Any], most_readings: int, form: Form
) -> tuple[dict[str, dict[int, dict[str, Any]]], list[Problem]]:
    """Read the lists item by item: of each list the usable items by index, and all problems."""
    lists: dict[str, dict[int, dict[str, Any]]] = {}
    problems: list[Problem] = []
    for name in LISTS:
        given = envelope.get(name)
        raw = given if isinstance(given, list) else []
        if name == "readings" and len(raw) > most_readings:
            raise TooManyReadings(len(raw), most_readings)
        if name != "readings" and len(raw) > MOST_OTHERS:
            problems.append(problem(f"/{name}", "too-many", raw, f"a list of at most {MOST_OTHERS}"))
            raw = raw[:MOST_OTHERS]
        lists[name], faults = items_of(raw, name, form)
        problems += faults
    return lists, problems


def items_of(raw: list[Any], name: str, form: Form) -> tuple[dict[int, dict[str, Any]], list[Problem]]:
    """Read one of the envelope's lists item by item: the usable items by index, and all problems."""
    problems: list[Problem] = []
    kept, either, reader = {}, ONE_OF.get(name), form.readers.get(name)
    if reader and (loaded := reader(raw)) is not None:
        return dict(enumerate(loaded)), problems
    for index, item in enumerate(raw):
        at = f"/{name}/{index}"
        usable = form.screens[name].load(item)
        if usable is None:
            usable, faults = read_item(item, name, at, form, is_brief=len(problems) > MOST_WORDED)
            problems += faults
        if either and isinstance(item, dict) and (faults := exactly_one_given(item, either, at)):
            problems, usable = problems + faults, None
        if usable is not None:
            kept[index] = usable
    return kept, problems


def read_item(
    item: object, name: str, at: str, form: Form, is_brief: bool = False
) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Read an item that may be at fault: its usable fields, or None if an essential one is at fault; and its problems.

    `is_brief`: there are too many problems to word each; of this item it is said how many it has.
    """
    block = form.lists[name]
    if name == "readings" and isinstance(item, dict):
        item = with_pressures_repeated(item)
    cut, left_out = cut_to_size(item, block, at)
    try:
        return block.load(cut), []
    except ValidationError as error:
        faults, valid = messages(error), error.valid_data
    worded = [problem(at, "faults-not-named", len(faults))] if is_brief else from_messages(faults, block, cut, at)
    problems = [*worded, *left_out]
    if not isinstance(item, dict) or any(key in faults for key in ESSENTIAL[name]):
        return None, problems
    usable = without_partly_read_lists(valid, faults, block)  # type: ignore[arg-type]
    return with_legible(usable, item, faults, is_reading=True) if name == "readings" else usable, problems
