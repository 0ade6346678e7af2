"""Observations of blood pressure as readings of a request."""

from collections.abc import Iterator, Mapping
from itertools import zip_longest
from typing import Any

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import BODY_POSITION, CODED_EXTENSIONS, COMPONENTS, HEART_RATE, LOINC, OWN_NAMES, PANELS
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.filling import Filling, take_own_details
from heartlevel.intake.fields import Choice
from heartlevel.vocabulary import MMHG, PRESSURE_CODES, PRESSURES, UNITS

UNIT = Choice(UNITS)
OF_READINGS = ("setting", "site", "asleep", "taken_by", "technique.body_position")
WITHIN_READINGS = {*PANELS, *PRESSURE_CODES}
# Who performed it, by the type of resource referred to.
PERFORMERS = {"Patient": "self", "RelatedPerson": "carer", "Practitioner": "staff", "PractitionerRole": "staff"}
EQUAL = (None, "=")
LONGEST_NAME = 64


def is_pressure(observation: Element) -> bool:
    """Tell whether an Observation is a blood-pressure reading, or half of one, or has a pressure in it whatever it is."""
    return _is_reading(observation) or bool(_values(observation).keys() & set(PRESSURES))


def _is_reading(observation: Element) -> bool:
    return any(system == LOINC and code in WITHIN_READINGS for system, code in observation.part("code").codings())


def is_heart_rate(observation: Element) -> bool:
    """Tell whether an Observation is a heart rate by itself."""
    return observation.part("code").has_code(LOINC, HEART_RATE)


def readings_of(observation: Element, codes: Codes) -> Iterator[Filling]:
    """Yield the readings of an Observation: one, or as many as there are values of one component."""
    values = _values(observation)
    rounds = zip_longest(*(values.get(name, []) for name in COMPONENTS.values()))
    for number, measured in enumerate(list(rounds) or [(None,) * len(COMPONENTS)]):
        reading = Filling(observation.at)
        name = observation.name(OWN_NAMES["Observation"])
        if name.value is not None:
            reading.put("id", name.value if number == 0 else f"{name.value}-{number + 1}", name.at)
        _put_time(reading, observation)
        _put_why_no_reading(reading, observation, values)
        for quantity, component in zip(COMPONENTS.values(), measured, strict=True):
            if component is not None:
                _put_quantity(reading, quantity, component)
        _put_codes(reading, observation, codes)
        take_own_details(reading, observation)
        yield reading


def time_of(observation: Element) -> Element:
    """Return when it was taken: the moment, or the beginning of the period, else its end."""
    effective = observation.choice("effective")
    if not isinstance(effective.value, Mapping):
        return effective
    start = effective.part("start")
    return start if start.value is not None else effective.part("end")


def quantity_of(component: Element) -> Any:
    """Return the number of a component, or a text that is no number where it is only a bound."""
    value, comparator = _number(component).value, component.choice("value").part("comparator").value
    return value if comparator in EQUAL or value is None else f"{comparator}{value}"


def _number(component: Element) -> Element:
    """Return the number of a component: that of its quantity, or what stands in the quantity's place."""
    quantity = component.choice("value")
    return quantity.part("value") if quantity.content else quantity


def _values(observation: Element) -> dict[str, list[Element]]:
    """Return the components by the field that they are; an Observation may be one itself, or say both in a text."""
    values: dict[str, list[Element]] = {}
    for part in (observation, *observation.each("component")):
        codes = {code for _, code in part.part("code").codings()}
        for name in {name: None for code, name in COMPONENTS.items() if code in codes}:
            values.setdefault(name, []).append(part)
    if not values and _is_reading(observation) and observation.choice("value").text:
        return {name: [observation] for name in PRESSURES}
    return values


def _coded(part: Element) -> bool:
    """Tell whether a part says what it is by a code of LOINC, and not by a number alone."""
    return any(system == LOINC for system, _ in part.part("code").codings())


def _put_why_no_reading(reading: Filling, observation: Element, values: Mapping[str, list[Element]]) -> None:
    """Put why it is no reading in the place of its setting, so that it is named and not averaged.

    No code says that it is one, or a modifier extension changes what it says (FHIR R4, Extensibility 2.4.2).
    """
    parts = [part for listed in values.values() for part in listed]
    modifier = next((extension for part in (observation, *parts) for extension in modifiers_of(part)), None)
    code = observation.part("code")
    if modifier is not None:
        reading.put("setting", f"changed by {modifier.part('url').text}"[:LONGEST_NAME], modifier.at)
    elif not _is_reading(observation) or not any(map(_coded, parts)):
        name = next((code for _, code in code.codings()), "none")
        reading.put(
            "setting", f"no reading by its code, {name}"[:LONGEST_NAME], code.at if code.content else observation.at
        )


def modifiers_of(part: Element) -> Iterator[Element]:
    """Yield the extensions that may change what a part says; none is understood here."""
    return part.each("modifierExtension")


def _put_time(reading: Filling, observation: Element) -> None:
    taken = time_of(observation)
    if taken.value is not None:
        reading.put("taken_at", taken.value, taken.at)


def _put_quantity(reading: Filling, name: str, component: Element) -> None:
    value = _number(component)
    if value.value is None:
        reading.origins[f"/{name}"] = component.at
        return
    reading.put(name, quantity_of(component), value.at)
    if name in PRESSURES:
        _put_unit(reading, component.choice("value"))


def _put_unit(reading: Filling, quantity: Element) -> None:
    """Put the unit of the pressures; two that differ are none."""
    code = quantity.part("code") if quantity.part("code").value is not None else quantity.part("unit")
    before = reading.values.get("unit")
    unit = MMHG if code.value is None and before is not None else UNIT.read(code.value)
    if unit is None:
        return
    reading.put("unit", unit, code.at)
    if before is not None and before != unit:
        reading.values["unit"] = f"{before} and {unit}"


def _put_codes(reading: Filling, observation: Element, codes: Codes) -> None:
    """Put what codes say, and who performed it."""
    for concept in _concepts(observation):
        meanings = [meaning for coding in concept.codings() for meaning in codes.meanings(*coding)]
        for name, value in meanings:
            if name in OF_READINGS:
                reading.put(name, value, concept.at)
    for performer in observation.each("performer"):
        kind = _kind_referred(performer)
        if kind in PERFORMERS:
            reading.put("taken_by", PERFORMERS[kind], performer.at)


def _concepts(observation: Element) -> Iterator[Element]:
    yield observation.part("bodySite")
    for url in CODED_EXTENSIONS:
        for extension in observation.extensions(url):
            yield extension.choice("value")
    for component in observation.each("component"):
        if component.part("code").has_code(LOINC, BODY_POSITION):
            yield component.choice("value")


def _kind_referred(reference: Element) -> str | None:
    target = reference.part("reference").text or ""
    return reference.part("type").text or (target.split("/")[-2] if "/" in target else None)
