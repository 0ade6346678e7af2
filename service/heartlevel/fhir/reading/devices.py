"""Devices that readings refer to."""

from collections.abc import Iterator
from typing import Any

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import CUFF_SIZE, CUFF_SIZE_EXTENSION, LOINC, OWN_NAMES
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.filling import Filling, take_own_details
from heartlevel.fhir.reading.sent import Sent

OF_DEVICES = ("method", "inflation", "placement")
OF_CUFFS = "cuff."
LONGEST_NAME = 64


def name_of_device(reference: Element, device: Element | None) -> str | None:
    """Return the name by which a request knows a device: its own id, or what refers to it."""
    name = device.name(OWN_NAMES["Device"]).text if device else None
    identifier = reference.part("identifier").part("value").text
    written = name or reference.part("reference").text or identifier or reference.part("display").text
    return written[-LONGEST_NAME:] if written else None


def device_of(observation: Element, sent: Sent, codes: Codes) -> Filling | None:
    """Return the device that an Observation refers to, as far as it was sent; None if it refers to none.

    With a cuff of its own that a code says the size of, it is a device by itself: another cuff, another fit.
    """
    reference, cuff = observation.part("device"), _cuff_of(observation, codes)
    device = sent.referred(reference, observation)
    names = [name for name in (name_of_device(reference, device), cuff and f"cuff {next(cuff.codings())[1]}") if name]
    if not names:
        return None
    filling = Filling((device or cuff or reference).at)
    filling.put("id", " ".join(names)[-LONGEST_NAME:], filling.at)
    if cuff is not None:
        _put_cuff(filling, cuff, codes)
    if device is not None:
        _put_meanings(filling, device.part("type"), codes)
        take_own_details(filling, device)
        for extension in device.extensions(CUFF_SIZE_EXTENSION):
            _put_cuff(filling, extension.choice("value"), codes)
    _put_meanings(filling, observation.part("method"), codes)
    return filling


def cuff_meanings(concept: Element, codes: Codes) -> Iterator[tuple[str, Any]]:
    """Yield what codes say of a cuff: fields of it with their values."""
    meanings = (meaning for coding in concept.codings() for meaning in codes.meanings(*coding))
    return ((name, value) for name, value in meanings if name.startswith(OF_CUFFS))


def _cuff_of(observation: Element, codes: Codes) -> Element | None:
    """Return the size of cuff that a component of an Observation names, where a code says what that is."""
    parts = (part for part in observation.each("component") if part.part("code").has_code(LOINC, CUFF_SIZE))
    return next((size for part in parts if any(cuff_meanings(size := part.choice("value"), codes))), None)


def _put_cuff(filling: Filling, concept: Element, codes: Codes) -> None:
    for name, value in cuff_meanings(concept, codes):
        filling.put(name, value, concept.at)


def _put_meanings(filling: Filling, concept: Element, codes: Codes) -> None:
    for coding in concept.codings():
        for name, value in codes.meanings(*coding):
            if name in OF_DEVICES:
                filling.put(name, value, concept.at)
