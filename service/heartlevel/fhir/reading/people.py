"""What resources other than readings say of a person: age, pregnancy, symptoms, conditions, treatment."""

from datetime import date
from typing import Any

from heartlevel.fhir.codes import SYMPTOM, Codes
from heartlevel.fhir.issues import INFORMATION, Issue
from heartlevel.fhir.names import LOINC, PREGNANCY_STATUS
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.filling import Filling, take_own_details
from heartlevel.intake.texts.legible_person import legible_symptoms, plain_values
from heartlevel.intake.written import day_written

PREGNANT = "pregnant"
OF_SUBJECTS = (PREGNANT, "frail", "irregular_pulse_known")
ON_TREATMENT = "on_treatment"
MEDICINES = ("MedicationStatement", "MedicationRequest")
TAKEN = ("active", None)
PAST = ("inactive", "remission", "resolved")  # clinicalStatus of a Condition; what is none of FHIR's may be present
WITHDRAWN = ("entered-in-error", "refuted", "cancelled")


def whole_years(born: str | None, on: date | None) -> int | None:
    """Return completed years of age on a day; None where either day is not known exactly."""
    birthday = day_written(born) if born and len(born) == len("2000-01-01") else None
    if birthday is None or on is None:
        return None
    return on.year - birthday.year - ((on.month, on.day) < (birthday.month, birthday.day))


def take_patient(subject: Filling, patient: Element, on: date | None) -> list[Issue]:
    """Take what a Patient says; age is that on the day of the last reading."""
    take_own_details(subject, patient)
    born = patient.part("birthDate")
    years = whole_years(born.text, on)
    if years is not None:
        subject.put("age_years", years, born.at)
    elif born.value is not None and "age_years" not in subject.values:
        told = "no age is taken from it: the day of birth, or that of a reading, is not there or cannot be read"
        return [Issue(INFORMATION, "incomplete", told, born.at)]
    return []


def take_statement(subject: Filling, resource: Element, codes: Codes) -> bool:
    """Take what a Condition, an Observation or a medicine says; return whether it says anything that is understood."""
    if resource.kind in MEDICINES:
        return _take_medicine(subject, resource, codes)
    concept = resource.choice("value") if resource.kind == "Observation" else resource.part("code")
    meanings = [meaning for coding in concept.codings() for meaning in codes.meanings(*coding)]
    meanings = [(name, value) for name, value in meanings if name == SYMPTOM or _says(resource, name)]
    if not meanings and resource.kind == "Condition":
        meanings = _legible_meanings(concept, codes)
    for name, value in meanings:
        if name == SYMPTOM:
            _add_symptom(subject, resource, concept, value)
        else:
            subject.put(name, value, concept.at)
    return bool(meanings)


def _legible_meanings(concept: Element, codes: Codes) -> list[tuple[str, Any]]:
    """Return symptoms and pregnancy that a concept says by a code without its system, or by a symptom's name.

    What no code says as it should may make a pressure urgent all the same.
    """
    texts = [text for text in plain_values(concept.value) if isinstance(text, str)]
    by_code = [meaning for text in texts for meaning in codes.meanings_anywhere(text) if meaning[0] in (SYMPTOM, PREGNANT)]
    by_name = [(SYMPTOM, entry["symptom"]) for entry in legible_symptoms(texts)]
    return list(dict.fromkeys([*by_code, *by_name]))


def since(resource: Element) -> str:
    """Return when a Condition began, an Observation was made or a medicine was begun; empty where that is not told."""
    begun = resource.choice("onset") if resource.kind == "Condition" else resource.choice("effective")
    told = (begun, begun.part("start"), resource.part("recordedDate"))
    return next((part.text for part in told if part.text), "")


def _says(resource: Element, name: str) -> bool:
    """Tell whether a resource can say a detail of the person: pregnancy is one Observation's, others only a Condition's."""
    if resource.kind == "Observation":
        return name == PREGNANT and resource.part("code").has_code(LOINC, PREGNANCY_STATUS)
    return name in OF_SUBJECTS


def withdrawn(resource: Element) -> bool:
    """Tell whether a resource says that it is not so."""
    states = [resource.part("status").value]
    states += [code for _, code in resource.part("verificationStatus").codings()]
    return any(state in WITHDRAWN for state in states)


def over(resource: Element) -> bool:
    """Tell whether a Condition or a medicine is one of the past."""
    if resource.kind in MEDICINES:
        return resource.part("status").value not in TAKEN
    states = [code for _, code in resource.part("clinicalStatus").codings()]
    return resource.kind == "Condition" and bool(states) and all(state.casefold() in PAST for state in states)


def _take_medicine(subject: Filling, resource: Element, codes: Codes) -> bool:
    concept = resource.choice("medication")
    meanings = [meaning for coding in concept.codings() for meaning in codes.meanings(*coding)]
    if (ON_TREATMENT, True) not in meanings:
        return False
    subject.put(ON_TREATMENT, True, concept.at)
    begun = resource.choice("effective").part("start")
    if begun.text and day_written(begun.text):
        _keep_latest(subject, begun)
    return True


def _keep_latest(subject: Filling, begun: Element) -> None:
    """Treatment is as it is now since its last medicine began."""
    before: Any = subject.values.get("treatment_since")
    if before is None or str(begun.value) > str(before):
        subject.values["treatment_since"] = begun.value
        subject.origins["/treatment_since"] = begun.at


def _add_symptom(subject: Filling, resource: Element, concept: Element, name: str) -> None:
    day = day_written(since(resource))
    subject.add("symptoms", {"symptom": name} | ({"on": day.isoformat()} if day else {}), concept.at)
