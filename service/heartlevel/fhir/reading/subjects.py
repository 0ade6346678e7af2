"""A Bundle, or Parameters, decoded: a request for each person in it, and what is to be said of the rest."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.issues import INFORMATION, WARNING, Issue
from heartlevel.fhir.names import OWN_NAMES
from heartlevel.fhir.questionnaire import questions_of
from heartlevel.fhir.reading.devices import device_of
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.encounters import setting_of
from heartlevel.fhir.reading.filling import Filling
from heartlevel.fhir.reading.observations import (
    is_heart_rate,
    is_pressure,
    modifiers_of,
    quantity_of,
    readings_of,
    time_of,
)  # fmt: skip
from heartlevel.fhir.reading.people import over, since, take_patient, take_statement, withdrawn
from heartlevel.fhir.reading.questionnaires import Response, is_ours, responses_of
from heartlevel.fhir.reading.remarks import remarks_on
from heartlevel.fhir.reading.sent import Sent, sent_resources
from heartlevel.intake.decoding import Decoded
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.intake.written import day_written
from heartlevel.tables.fields import DEVICE, READING, SUBJECT

SUBJECTS = OWN_NAMES["Patient"]
STATEMENTS = ("Observation", "Condition", "MedicationStatement", "MedicationRequest", "QuestionnaireResponse")
TAKEN_ELSEWHERE = ("Patient", "Device", "Encounter")  # by what refers to them
IGNORED = "says that it is withdrawn, and was not used"
PAST = "does not hold at present, and was not used"
MODIFIED = "has a modifierExtension that is not understood here, and was not used"
NOT_USED = "nothing in it is understood here, and it was not used"


@dataclass(slots=True)
class Person:
    """What was sent about a person, while it is gathered."""

    patient: Element
    subject: Filling
    pressures: list[Element] = field(default_factory=list)
    statements: list[Element] = field(default_factory=list)
    responses: list[Element] = field(default_factory=list)
    pulses: dict[Any, Element] = field(default_factory=dict)  # by the time as it was sent


@dataclass(frozen=True, slots=True)
class FhirContent:
    """A request for each person, in the order in which they are first named; origins are FHIRPaths into what was sent."""

    subjects: list[Decoded[str]]
    issues: list[Issue]


def decoded_subjects(payload: object, codes: Codes, form: Form = PLAIN_FORM) -> FhirContent:
    """Decode what was sent as requests of a form. Whatever is wrong with it, what can be read of it is in the requests."""
    sent = sent_resources(payload)
    root = str(payload.get("resourceType")) if isinstance(payload, dict) else ""
    people = _people(sent)
    subjects = [_decoded(person, sent, codes, form, root) for person in people]
    return FhirContent(subjects, sent.issues)


def _people(sent: Sent) -> Iterable[Person]:
    """Gather what was sent by the person it is about; what names nobody is about the only person, if there is one."""
    people: dict[str | None, Person] = {}
    for patient in sent.of_kind("Patient"):
        people[patient.at] = _person(patient, patient.name(SUBJECTS))
    nameless = []
    for resource in sent.of_kind(*STATEMENTS):
        if _set_aside(resource, sent):
            continue
        key, person = _person_of(resource, sent)
        if key is None:
            nameless.append(resource)
        else:
            _gather(people.setdefault(key, person), resource)
    sole = next(iter(people.values())) if len(people) == 1 else None
    for resource in nameless:
        _gather(sole or people.setdefault(None, Person(resource, Filling(resource.at))), resource)
    for resource in sent.resources:
        if resource.kind not in (*STATEMENTS, *TAKEN_ELSEWHERE):
            sent.issues.append(Issue(INFORMATION, "not-supported", NOT_USED, resource.at))
    return people.values()


def _person(patient: Element, name: Element) -> Person:
    subject = Filling(patient.at)
    if name.value is not None:
        text = name.text
        subject.put("id", text.rstrip("/").split("/")[-1] if text else name.value, name.at)
    return Person(patient, subject)


def _person_of(resource: Element, sent: Sent) -> tuple[str | None, Person]:
    reference = resource.part("subject")
    patient = sent.referred(reference, resource)
    target = reference.part("reference")
    name = target if target.value is not None else reference.part("identifier").part("value")
    if patient is not None:
        own = patient.name(SUBJECTS)
        return patient.at, _person(patient, own if own.value is not None else name)
    return name.text, _person(reference, name)


def _set_aside(resource: Element, sent: Sent) -> bool:
    """Say of what is withdrawn or past that it is not used."""
    told = IGNORED if withdrawn(resource) else PAST if over(resource) else _modified(resource)
    if told:
        severity = INFORMATION if told == PAST else WARNING
        sent.issues.append(Issue(severity, "informational", told, resource.at))
    return told is not None


def _modified(resource: Element) -> str | None:
    """Return what is said of what an extension may change; a pressure is named as a reading that is not averaged."""
    return MODIFIED if any(modifiers_of(resource)) and not is_pressure(resource) else None


def _gather(person: Person, resource: Element) -> None:
    if resource.kind == "Observation" and is_pressure(resource):
        person.pressures.append(resource)
    elif resource.kind == "Observation" and is_heart_rate(resource):
        person.pulses.setdefault(time_of(resource).text, resource)
    elif is_ours(resource):
        person.responses.append(resource)
    else:
        person.statements.append(resource)


def _decoded(person: Person, sent: Sent, codes: Codes, form: Form, root: str) -> Decoded[str]:
    readings, devices = list[Filling](), dict[str, Filling]()
    responses = responses_of(person.responses, person.pressures, sent, codes, questions_of(form))
    for observation in person.pressures:
        holding = [response for response in responses if response.holds_for(observation)]
        device = _device(observation, sent, codes, holding)
        setting = setting_of(observation, sent, codes)
        for reading in readings_of(observation, codes):
            _add_pulse(reading, person)
            for response in holding:
                response.fill(reading, READING)
            if setting is not None:
                reading.put("setting", setting.value, setting.at)
            if device is not None:
                reading.put("device", device.values["id"], observation.part("device").at)
                _add_device(devices, device)
            readings.append(reading)
    sent.issues += remarks_on(person.pressures, codes)
    _tell_of(person, responses, readings, sent, codes)
    return _request(person.subject, list(devices.values()), readings, sent, root)


def _device(observation: Element, sent: Sent, codes: Codes, responses: Iterable[Response]) -> Filling | None:
    """Return the device of an Observation with what responses say of it; where it names none, theirs."""
    device = device_of(observation, sent, codes)
    for response in responses:
        if response.tells_of(DEVICE):
            if device is None:
                device = Filling(response.resource.at)
                device.put("id", f"device of {response.resource.part('id').text or 'the response'}"[:64], device.at)
            response.fill(device, DEVICE)
    return device


def _tell_of(person: Person, responses: Iterable[Response], readings: Iterable[Filling], sent: Sent, codes: Codes) -> None:
    """Take what resources say of the person."""
    days = [day for reading in readings if (day := _day_of(reading))]
    if person.patient.kind == "Patient":
        sent.issues += take_patient(person.subject, person.patient, max(days, default=None))
    for statement in sorted(person.statements, key=since, reverse=True):  # of two that differ the later one counts
        if not take_statement(person.subject, statement, codes):
            sent.issues.append(Issue(INFORMATION, "not-supported", NOT_USED, statement.at))
    for response in responses:
        response.fill(person.subject, SUBJECT)


def _request(
    subject: Filling, devices: list[Filling], readings: list[Filling], sent: Sent, root: str
) -> Decoded[str]:  # fmt: skip
    request: dict[str, Any] = {"subject": subject.values, "options": dict(sent.options)}
    origins = {"": root} | {f"/options/{name}": at for name, at in sent.option_places.items()}
    origins |= subject.placed("/subject")
    for name, fillings in {"devices": devices, "readings": readings}.items():
        request[name] = [filling.values for filling in fillings]
        for index, filling in enumerate(fillings):
            origins |= filling.placed(f"/{name}/{index}")
    return Decoded(request, origins)


def _add_pulse(reading: Filling, person: Person) -> None:
    """Take the heart rate that was measured at the very same time."""
    pulse = person.pulses.get(reading.values.get("taken_at")) if person.pulses else None
    if pulse is not None:
        reading.put("pulse", quantity_of(pulse), pulse.choice("value").part("value").at)


def _add_device(devices: dict[str, Filling], device: Filling) -> None:
    known = devices.setdefault(device.values["id"], device)
    for pointer, at in device.origins.items():
        name = pointer[1:].replace("/", ".")
        if device.value_of(name) is not None:
            known.put(name, device.value_of(name), at)


def _day_of(reading: Filling) -> Any:
    taken = reading.values.get("taken_at")
    return day_written(taken) if isinstance(taken, str) else None
