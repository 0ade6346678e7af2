"""What FHIR has no element for, as questions: a Questionnaire made from the declared fields of a request.

The `linkId` of a question is the name of the field as a column of a table. `reading/questionnaires.py` reads the answers.
"""

from collections.abc import Iterator
from functools import lru_cache
from hashlib import sha256
from typing import Any

from marshmallow import fields

from heartlevel.answer.whole import as_json
from heartlevel.fhir.names import OWN, UCUM
from heartlevel.intake.fields import Choice, Clock, Day, Flag, Items, Number, Text
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.tables.fields import DEVICE, READING, SUBJECT, TableField, TableFields, fields_of

ADDRESS, ID = f"{OWN}questionnaire", "technique"
VERSION_DIGITS = 16
NONE_CODE = "none"  # of a list: asked for, and there was none
EXTENSION = "http://hl7.org/fhir/StructureDefinition/"
# Groups by the part of the request. What an Observation or a Patient always says itself is not asked.
GROUPS = {
    READING: "How, where and by whom the readings were taken",
    DEVICE: "The device and its cuff",
    SUBJECT: "The person who was measured",
}
SAID_BY_RESOURCES = frozenset(
    {"id", "taken_at", "systolic", "diastolic", "pulse", "unit", "device", "period", "payload", "payload_feature", SUBJECT,
     "subject.age_years"}
)  # fmt: skip


@lru_cache(maxsize=4)
def questions_of(form: Form) -> TableFields:
    """Return the fields of a form that are asked, by the name of the question; facts of one's own are among them."""
    fields = fields_of(form).items()
    return {name: field for name, field in fields if field.part in GROUPS and name not in SAID_BY_RESOURCES}


@lru_cache(maxsize=4)
def questionnaire(form: Form = PLAIN_FORM) -> dict[str, Any]:
    """Return the Questionnaire that asks what a form can hold; its version is a hash of all else in it."""
    asked = {
        "resourceType": "Questionnaire",
        "id": ID,
        "url": ADDRESS,
        "name": "HowBloodPressureWasMeasured",
        "title": "How blood pressure was measured",
        "status": "active",
        "subjectType": ["Patient"],
        "description": "Every question may be left unanswered: what is not told is unknown, and counts for nothing.",
        "item": [
            {"linkId": part, "text": text, "type": "group", "item": [_question(field) for field in _asked_of(form, part)]}
            for part, text in GROUPS.items()
        ],
    }
    return {**asked, "version": sha256(as_json(asked)).hexdigest()[:VERSION_DIGITS]}


def questionnaires(form: Form = PLAIN_FORM) -> dict[str, Any]:
    """Return the Bundle that a search for Questionnaires gives."""
    entry = {"fullUrl": ADDRESS, "resource": questionnaire(form), "search": {"mode": "match"}}
    return {"resourceType": "Bundle", "type": "searchset", "total": 1, "entry": [entry]}


def _asked_of(form: Form, part: str) -> Iterator[TableField]:
    return (field for field in questions_of(form).values() if field.part == part)


def _question(field: TableField) -> dict[str, Any]:
    meaning = str(field.declared.metadata.get("description", field.name))
    question = {"linkId": field.name, "text": meaning[:1].upper() + meaning[1:]}
    return question | _answered_by(field, field.declared)


def _answered_by(field: TableField, declared: fields.Field[Any]) -> dict[str, Any]:
    """Return the type of answers, and what they are limited to."""
    match declared:
        case Items():
            return {**_answered_by(field, declared.inner), "repeats": True, **_options(field, declared.inner, [NONE_CODE])}
        case Choice():
            return {"type": "choice", **_options(field, declared)}
        case Flag():
            return {"type": "boolean"}
        case Number():
            return {"type": "decimal", "extension": _limits(declared, field.unit)}
        case Clock():
            return {"type": "time"}
        case Day():
            return {"type": "date"}
        case Text():
            return {"type": "string", "maxLength": declared.longest}
        case _:
            raise TypeError(f"no question can be made of {field.name}")


def _options(field: TableField, declared: fields.Field[Any], more: list[str] | None = None) -> dict[str, Any]:
    """Return the answers that may be chosen, each a code of the field."""
    if not isinstance(declared, Choice):
        return {}
    system = OWN + ".".join(field.path)
    codings = [{"system": system, "code": name, "display": _shown(name)} for name in [*declared.names, *(more or ())]]
    return {"answerOption": [{"valueCoding": coding} for coding in codings]}


def _shown(name: str) -> str:
    return "none of these" if name == NONE_CODE else name.replace("-", " ")


def _limits(declared: Number, unit: str) -> list[dict[str, Any]]:
    limits: list[dict[str, Any]] = [
        {"url": f"{EXTENSION}minValue", "valueDecimal": declared.low},
        {"url": f"{EXTENSION}maxValue", "valueDecimal": declared.high},
    ]
    coding = {"system": UCUM, "code": unit, "display": unit}
    return [*limits, {"url": f"{EXTENSION}questionnaire-unit", "valueCoding": coding}]
