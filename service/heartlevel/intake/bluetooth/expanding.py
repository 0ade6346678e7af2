"""Readings that hold bytes of a device, written as the readings they are, before they are read as all others."""

from base64 import b64decode
from binascii import Error
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from re import compile as pattern
from typing import Any

from heartlevel.intake.bluetooth.measurement import Measurement, announced_length, details_of, measurement_in
from heartlevel.intake.faults import Problem, problem
from heartlevel.intake.texts.json_text import Repeated
from heartlevel.vocabulary import KPA, MMHG

PAYLOAD, FEATURE = "payload", "payload_feature"
MISSING, DIFFERS = "missing", "not-both"
BETWEEN = pattern(r"[\s:-]|^0[xX]")
HEXADECIMAL = pattern(r"([0-9A-Fa-f]{2})+")
LONGEST_TEXT, FEATURE_BYTES = 200, 2
TIME, NUMBERS = "taken_at", ("systolic", "diastolic", "pulse")
IN_BYTES = (*NUMBERS, "unit", TIME)


@dataclass(slots=True)
class Expanded:
    """The readings, what is wrong with their bytes, and which parts of them come from bytes."""

    readings: Any
    faults: list[Problem] = field(default_factory=list)
    parts: dict[str, str] = field(default_factory=dict)  # pointer to a part: pointer to the bytes

    def placed(self, faults: Iterable[Problem]) -> list[Problem]:
        """Return problems where they stand in what was sent.

        What a value lacks, or that it is there more than once, is not said again of bytes of which it is said why. What was
        sent beside the bytes and differs is named where it stands.
        """
        told = {fault.pointer for fault in self.faults}
        kept = []
        for fault in faults:
            at = self.parts.get(fault.pointer)
            if at is None or fault.code == DIFFERS:
                kept.append(fault)
            elif not (fault.code in (MISSING, "key-repeated") and at in told):
                kept.append(replace(fault, pointer=at))
        return kept


def expanded(readings: Any) -> Expanded:
    """Write each reading that holds bytes as what they say; all others, and what is no list, stay as they are."""
    if not isinstance(readings, list) or not any(isinstance(item, dict) and PAYLOAD in item for item in readings):
        return Expanded(readings)
    whole, users = Expanded(list(readings)), dict[int, int]()
    for index, item in enumerate(readings):
        if isinstance(item, dict) and item.get(PAYLOAD) is not None:
            measured = _expand(whole, index, item)
            if measured is not None and measured.user is not None:
                users[index] = measured.user
        elif isinstance(item, dict):
            whole.readings[index] = _without(item, (PAYLOAD, FEATURE))
    _name_other_users(whole, users)
    return whole


def bytes_in(text: object) -> bytes | None:
    """Return the bytes that a text is, as hexadecimal or base64; None if it is neither.

    A text that may be both is the one whose length is that which its first byte announces, else hexadecimal.
    """
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        return None
    readable = [content for content in (_hexadecimal(text), _base64(text)) if content]
    fitting = [content for content in readable if len(content) == announced_length(content[0])]
    return next(iter([*fitting, *readable]), None)


def _hexadecimal(text: str) -> bytes | None:
    digits = BETWEEN.sub("", text.strip())
    return bytes.fromhex(digits) if HEXADECIMAL.fullmatch(digits) else None


def _base64(text: str) -> bytes | None:
    try:
        return b64decode(text.strip(), validate=True)
    except (Error, ValueError):
        return None


def _expand(whole: Expanded, index: int, item: dict[str, Any]) -> Measurement | None:
    at, content = f"/readings/{index}/{PAYLOAD}", bytes_in(item[PAYLOAD])
    whole.readings[index] = reading = _without(item, (PAYLOAD, FEATURE))
    whole.parts |= {f"/readings/{index}/{name}": at for name in IN_BYTES if reading.get(name) is None}
    if content is None:
        whole.faults.append(problem(at, "payload-not-bytes", item[PAYLOAD]))
        _put_each(reading, item[PAYLOAD])
        return None
    measured = measurement_in(content)
    whole.faults += _faults(content, measured, at)
    _fill(whole, index, measured, len(content) == measured.announced)
    _fill_status(whole, index, measured, item.get(FEATURE))
    return measured


def _put_each(reading: dict[str, Any], payload: object) -> None:
    """Put what a repeated key's bytes hold beside each other: nobody knows which are meant, and each may be urgent."""
    if not isinstance(payload, Repeated):
        return
    each = [measurement_in(content) for content in map(bytes_in, payload.values) if content is not None]
    for name in NUMBERS:
        numbers = tuple(measured.values[name] for measured in each if name in measured.values)
        if numbers and reading.get(name) is None:
            reading[name] = Repeated(numbers)
    if each and reading.get("unit") is None:
        reading["unit"] = Repeated(tuple(KPA if measured.kilopascals else MMHG for measured in each))


def _faults(content: bytes, measured: Measurement, at: str) -> list[Problem]:
    faults = []
    if len(content) != measured.announced:
        code = "payload-too-short" if len(content) < measured.announced else "payload-too-long"
        faults.append(problem(at, code, len(content), f"{measured.announced}"))
    for name, special in measured.special.items():
        if name in NUMBERS:
            faults.append(problem(at, "no-measured-value", special, name))
    return faults


def _fill(whole: Expanded, index: int, measured: Measurement, whole_bytes: bool) -> None:
    """Put what was measured into a reading.

    Of what is sent beside the bytes, the time counts before the device's, and numbers before those of damaged bytes.
    """
    reading = whole.readings[index]
    values = {name: measured.values[name] for name in NUMBERS if name in measured.values}
    for name, value in {**values, "unit": KPA if measured.kilopascals else MMHG}.items():
        if reading.get(name) not in (None, value):
            whole.faults.append(problem(f"/readings/{index}/{name}", DIFFERS, reading[name], PAYLOAD))
        if whole_bytes or reading.get(name) is None:
            reading[name] = value
            whole.parts[f"/readings/{index}/{name}"] = f"/readings/{index}/{PAYLOAD}"
    if reading.get(TIME) is None and measured.taken_at:
        reading[TIME] = measured.taken_at


def _fill_status(whole: Expanded, index: int, measured: Measurement, feature: object) -> None:
    able = bytes_in(feature) if feature is not None else b""
    if able is None or len(able) not in (0, FEATURE_BYTES):
        whole.faults.append(problem(f"/readings/{index}/{FEATURE}", "payload-not-bytes", feature))
        able = b""
    reading = whole.readings[index]
    told = reading.get("device_status") or {}
    if measured.status is not None and isinstance(told, dict):
        details = details_of(measured.status, int.from_bytes(able, "little") if able else None)
        reading["device_status"] = {**details, **told}


def _name_other_users(whole: Expanded, users: dict[int, int]) -> None:
    """Name the readings that another of the device's users took than most, or than the first of as many."""
    if len(set(users.values())) < 2:  # noqa: PLR2004 -- more than one
        return
    ((usual, _),) = Counter(users.values()).most_common(1)
    for index, user in users.items():
        if user != usual:
            whole.faults.append(problem(f"/readings/{index}/{PAYLOAD}", "another-user", user, f"{usual}"))


def _without(item: dict[str, Any], names: Collection[str]) -> dict[str, Any]:
    return {name: value for name, value in item.items() if name not in names}
