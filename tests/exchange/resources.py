"""Resources that the tests of FHIR send, and what a FHIRPath of names and indices means in them."""

import re
from typing import Any

LOINC, SNOMED, UCUM = "http://loinc.org", "http://snomed.info/sct", "http://unitsofmeasure.org"
SETTING = "http://hl7.org/fhir/us/vitals/StructureDefinition/MeasurementSettingExt"
HOME = {"coding": [{"system": SNOMED, "code": "264362003", "display": "Home (environment)"}]}

# HL7 FHIR R4 (4.0.1), example "blood-pressure" of Observation, without its narrative; typed from the specification.
R4_EXAMPLE = {
    "resourceType": "Observation",
    "id": "blood-pressure",
    "meta": {"profile": ["http://hl7.org/fhir/StructureDefinition/vitalsigns"]},
    "identifier": [{"system": "urn:ietf:rfc:3986", "value": "urn:uuid:187e0c12-8dd2-67e2-99b2-bf273c878281"}],
    "status": "final",
    "category": [{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/observation-category",
                              "code": "vital-signs", "display": "Vital Signs"}]}],
    "code": {"coding": [{"system": LOINC, "code": "85354-9", "display": "Blood pressure panel with all children optional"}],
             "text": "Blood pressure systolic & diastolic"},
    "subject": {"reference": "Patient/example"},
    "effectiveDateTime": "2012-09-17",
    "performer": [{"reference": "Practitioner/example"}],
    "interpretation": [{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation",
                                    "code": "L", "display": "low"}], "text": "Below low normal"}],
    "bodySite": {"coding": [{"system": SNOMED, "code": "368209003", "display": "Right arm"}]},
    "component": [
        {"code": {"coding": [{"system": LOINC, "code": "8480-6", "display": "Systolic blood pressure"},
                             {"system": SNOMED, "code": "271649006", "display": "Systolic blood pressure"}]},
         "valueQuantity": {"value": 107, "unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}},
        {"code": {"coding": [{"system": LOINC, "code": "8462-4", "display": "Diastolic blood pressure"}]},
         "valueQuantity": {"value": 60, "unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}},
    ],
}  # fmt: skip
# The same specification's example "blood-pressure-dar": the diastolic pressure was not measured, and why.
R4_EXAMPLE_ABSENT = {
    **R4_EXAMPLE,
    "id": "blood-pressure-dar",
    "component": [
        R4_EXAMPLE["component"][0],
        {"code": {"coding": [{"system": LOINC, "code": "8462-4", "display": "Diastolic blood pressure"}]},
         "dataAbsentReason": {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason",
                                          "code": "not-performed", "display": "Not Performed"}]}},
    ],
}  # fmt: skip


def quantity(value: Any, code: str = "mm[Hg]", **more: Any) -> dict[str, Any]:
    return {"value": value, "unit": code, "system": UCUM, "code": code, **more}


def component(what: str, value: Any, **more: Any) -> dict[str, Any]:
    return {"code": {"coding": [{"system": LOINC, "code": what}]}, "valueQuantity": quantity(value, **more)}


def pressure(name: str, systolic: Any = 128, diastolic: Any = 78, day: int = 1, **more: Any) -> dict[str, Any]:
    """An Observation of a reading at home, with other elements in place of these."""
    return {
        "resourceType": "Observation", "id": name, "status": "final",
        "code": {"coding": [{"system": LOINC, "code": "85354-9"}]},
        "subject": {"reference": "Patient/p-1"}, "effectiveDateTime": f"2026-03-{day:02d}T07:10:00+01:00",
        "extension": [{"url": SETTING, "valueCodeableConcept": HOME}],
        "component": [component("8480-6", systolic), component("8462-4", diastolic)],
        **more,
    }  # fmt: skip


def patient(name: str = "p-1", **more: Any) -> dict[str, Any]:
    return {"resourceType": "Patient", "id": name, **more}


def bundle(*resources: Any) -> dict[str, Any]:
    return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": resource} for resource in resources]}


def parameters(*resources: Any, **options: Any) -> dict[str, Any]:
    """Parameters of a Bundle and options, whose values are given with their types: `as_of=("Date", "2026-03-09")`."""
    named = [{"name": name, f"value{kind}": value} for name, (kind, value) in options.items()]
    return {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": bundle(*resources)}, *named]}


def concept(code: str, system: str = SNOMED) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code}]}


def condition(code: str, clinical: str = "active", **more: Any) -> dict[str, Any]:
    status = concept(clinical, "http://terminology.hl7.org/CodeSystem/condition-clinical")
    return {"resourceType": "Condition", "id": f"c-{code}", "clinicalStatus": status, "code": concept(code),
            "subject": {"reference": "Patient/p-1"}, **more}  # fmt: skip


def at_path(payload: Any, path: str) -> Any:
    """Return what a FHIRPath of names and indices means: `Bundle.entry[0].resource.component[1].value`."""
    kind, *steps = path.split(".")
    assert payload["resourceType"] == kind
    for step in steps:
        name, index = re.fullmatch(r"(\w+)(?:\[(\d+)\])?", step).groups()
        if name not in payload:
            (name,) = (key for key in payload if re.fullmatch(name + "[A-Z]\\w*", key))
        payload = payload[name] if index is None else payload[name][int(index)]
    return payload
