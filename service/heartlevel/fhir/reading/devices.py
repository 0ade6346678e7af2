"""Devices that readings refer to."""

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import OWN_NAMES
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.filling import Filling, take_own_details
from heartlevel.fhir.reading.sent import Sent

OF_DEVICES = ("method", "inflation", "placement")
LONGEST_NAME = 64


def name_of_device(reference: Element, device: Element | None) -> str | None:
    """Return the name by which a request knows a device: its own id, or what refers to it."""
    name = device.name(OWN_NAMES["Device"]).text if device else None
    identifier = reference.part("identifier").part("value").text
    written = name or reference.part("reference").text or identifier or reference.part("display").text
    return written[-LONGEST_NAME:] if written else None


def device_of(observation: Element, sent: Sent, codes: Codes) -> Filling | None:
    """Return the device that an Observation refers to, as far as it was sent; None if it refers to none."""
    reference = observation.part("device")
    device = sent.referred(reference, observation)
    name = name_of_device(reference, device)
    if name is None:
        return None
    filling = Filling((device or reference).at)
    filling.put("id", name, filling.at)
    if device is not None:
        _put_meanings(filling, device.part("type"), codes)
        take_own_details(filling, device)
    _put_meanings(filling, observation.part("method"), codes)
    return filling


def _put_meanings(filling: Filling, concept: Element, codes: Codes) -> None:
    for coding in concept.codings():
        for name, value in codes.meanings(*coding):
            if name in OF_DEVICES:
                filling.put(name, value, concept.at)
