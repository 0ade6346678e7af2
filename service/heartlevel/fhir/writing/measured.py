"""What was sent, as resources: the person, devices and readings, of the columns of a batch."""

from collections.abc import Mapping, Sequence
from math import isnan
from typing import Any

from heartlevel.answer.urgency import local_time
from heartlevel.fhir.codes import SYMPTOM, Codes
from heartlevel.fhir.names import (
    BODY_POSITION_EXTENSION,
    COMPONENT_TITLES,
    COMPONENTS,
    LOINC,
    OWN_NAMES,
    PANELS,
    PER_MINUTE,
    PRESSURE_PANEL,
    RELIABILITY,
    SETTING_EXTENSION,
    SLEEP_EXTENSION,
    UCUM,
)  # fmt: skip
from heartlevel.fhir.writing.details import own_details
from heartlevel.fhir.writing.entries import Entries, coded, named
from heartlevel.intake.batch import Batch
from heartlevel.intake.own.form import Form
from heartlevel.intake.recorded import LISTED, SYMPTOM_BITS, Recorded
from heartlevel.intake.request import Request
from heartlevel.vocabulary import CIRCUMSTANCES, MMHG

VITAL_SIGNS = coded("http://terminology.hl7.org/CodeSystem/observation-category", "vital-signs", "Vital Signs")
ACTIVE = {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/condition-clinical", "code": "active"}]}
UNITS = {"systolic": MMHG, "diastolic": MMHG, "pulse": PER_MINUTE}
# Details of a reading that are codes of FHIR elements: the extension that carries them, or the element itself.
EXTENSIONS = {"setting": SETTING_EXTENSION, "technique.body_position": BODY_POSITION_EXTENSION, "asleep": SLEEP_EXTENSION}
CODED = {**EXTENSIONS, "site": "bodySite"}
Columns = Mapping[str, Any]


def write_person(entries: Entries, batch: Batch, number: int, form: Form, codes: Codes) -> dict[str, str]:
    """Add the person and the symptoms that were named; return a Reference to the person."""
    request, facts = batch.requests[number], {recorded.fact for recorded in form.subject_facts}
    # The columns alone say what is recorded of everybody; a table's requests have little of it.
    subject = {name: value for name, value in request.subject.items() if name not in {"id", "symptoms", *facts}}
    subject |= _values(form.subject_facts, batch.subjects, number)
    none: dict[str, Any] = {"symptoms": []} if request.subject.get("symptoms") == [] else {}
    extension = own_details("Patient", subject | none)
    patient = entries.add(
        {**named("Patient", request.subject["id"], OWN_NAMES["Patient"]), **({"extension": extension} if extension else {})}
    )
    for symptom in request.subject.get("symptoms") or ():
        if symptom is not None:
            entries.add(_condition(symptom, patient, codes))
    return patient


def _condition(symptom: Mapping[str, Any], patient: Mapping[str, str], codes: Codes) -> dict[str, Any]:
    begun = {"onsetDateTime": symptom["on"]} if symptom.get("on") else {}
    code = codes.concept(SYMPTOM, symptom["symptom"])
    return {"resourceType": "Condition", "clinicalStatus": ACTIVE, "code": code, "subject": patient, **begun}


def write_devices(entries: Entries, request: Request) -> dict[str, dict[str, str]]:
    """Add the devices that are described; return a Reference to each by its name."""
    references = {}
    for name, device in request.devices.items():
        extension = own_details("Device", {key: value for key, value in device.items() if key != "id"})
        more = {"extension": extension} if extension else {}
        references[name] = entries.add({**named("Device", name, OWN_NAMES["Device"]), **more})
    return references


def reading_written(
    batch: Batch, row: int, form: Form, patient: Mapping[str, str], devices: Mapping[str, Mapping[str, str]], codes: Codes
) -> dict[str, Any]:
    """Return a reading as an Observation."""
    values = _values(form.reading_facts, batch.readings, row)
    panel, name = PRESSURE_PANEL, batch.names[row]
    extension = [
        {"url": url, "valueCodeableConcept": codes.concept(field, values[field])}
        for field, url in EXTENSIONS.items() if field in values
    ]  # fmt: skip
    quantities = {field: values[field] for field in COMPONENTS.values() if field in values}
    own = {field: value for field, value in values.items() if field not in CODED and field not in quantities}
    observation = {
        **named("Observation", name, OWN_NAMES["Observation"]),
        "extension": [*extension, *own_details("Observation", own | _listed(batch.readings, row) | _period(batch, row))],
        "status": "final",
        "category": [VITAL_SIGNS],
        "code": coded(LOINC, panel, PANELS[panel]),
        "subject": patient,
        "effectiveDateTime": local_time(batch, row),
        "component": [component(COMPONENT_TITLES, _code_of(field), field, value) for field, value in quantities.items()],
    }
    if "site" in values:
        observation["bodySite"] = codes.concept("site", values["site"])
    device = devices.get(_device_name(batch, row) or "")
    return {**observation, "device": device} if device else observation


def component(titles: Mapping[str, str], code: str, field: str, value: float) -> dict[str, Any]:
    """Return a component with its quantity."""
    unit = UNITS[field]
    quantity = {"value": value, "unit": unit, "system": UCUM, "code": unit}
    return {"code": coded(LOINC, code, titles[field]), "valueQuantity": quantity}


def with_reliability(observation: dict[str, Any], reliability: str) -> dict[str, Any]:
    """Return a reading's Observation with how reliable it was judged."""
    told = {"url": RELIABILITY, "valueCode": reliability}
    return {**observation, "extension": [*observation["extension"], told]}


def _code_of(field: str) -> str:
    return next(code for code, name in COMPONENTS.items() if name == field)


def _values(declared: Sequence[Recorded], columns: Columns, row: int) -> dict[str, Any]:
    """Return what is recorded of a reading or subject by dotted names."""
    values = {}
    for recorded in declared:
        value = float(columns[recorded.fact][row])
        if not isnan(value):
            values[".".join(recorded.path)] = _decoded(recorded, value)
    return values


def _decoded(recorded: Recorded, value: float) -> Any:
    if recorded.kind == "choice":
        return recorded.names[int(value)]
    return bool(value) if recorded.kind == "flag" else value


def _listed(columns: Columns, row: int) -> dict[str, Any]:
    """Return the lists of a reading; one in which something could not be read is carried without that."""
    lists: dict[str, Any] = {}
    kinds = [float(columns[recorded.fact][row]) for recorded in LISTED]
    if not any(map(isnan, kinds)):
        lists["circumstances"] = [name for name, there in zip(CIRCUMSTANCES, kinds, strict=True) if there]
    bits = float(columns["symptom_bits"][row])
    if not isnan(bits):
        lists["symptoms"] = [name for name, bit in SYMPTOM_BITS.items() if name is not None and int(bits) & bit]
    return lists


def _period(batch: Batch, row: int) -> dict[str, Any]:
    number = float(batch.readings["period_number"][row]) if "period_number" in batch.readings else float("nan")
    return {} if isnan(number) else {"period": batch.period_names[int(number)]}


def _device_name(batch: Batch, row: int) -> str | None:
    number = float(batch.readings["device_number"][row]) if "device_number" in batch.readings else float("nan")
    return None if isnan(number) else batch.device_names[int(number)]
