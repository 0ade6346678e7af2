"""What is concluded of a subject, as resources."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from heartlevel.answer.urgency import local_time
from heartlevel.assessment import Assessment
from heartlevel.columns import Ints
from heartlevel.facts.sides import SETTING_OF
from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import (
    ABSENT_REASON,
    CATEGORIES,
    LOINC,
    MEAN_PANEL,
    MEAN_PANEL_24H,
    MEANS,
    MEANS_24H,
    RULES,
    SETTING_EXTENSION,
)
from heartlevel.fhir.writing.entries import coded
from heartlevel.fhir.writing.measured import VITAL_SIGNS, component
from heartlevel.vocabulary import PRESSURES, SETTINGS

Reference = Mapping[str, str]
# Sides that are written, with the readings that their average is of.
SIDES = {"home": "protocol", "office-attended": "protocol", "office-unattended": "protocol", "ambulatory-24h": "all"}
WHOLE_DAY = "ambulatory-24h"
# How soon a message is to be read (http://hl7.org/fhir/request-priority), by the level of urgency.
PRIORITIES = {"now": "stat", "same-day": "asap", "cannot-be-told": "asap", "within-days": "urgent"}
NOT_RECORDED = {"extension": [{"url": ABSENT_REASON, "valueCode": "unknown"}]}
REPORT = "Assessment of blood-pressure readings"


def mean_written(
    assessment: Assessment, subject: int, side: Mapping[str, Any], patient: Reference, readings: Mapping[int, Reference],
    codes: Codes,
) -> dict[str, Any]:  # fmt: skip
    """Return the average of a side as an Observation derived from the readings in it, as far as these are written."""
    rows = _rows_of(assessment, subject, side["side"])
    sources = [readings[row] for row in rows.tolist() if row in readings]
    panel, means = (MEAN_PANEL_24H, MEANS_24H) if side["side"] == WHOLE_DAY else (MEAN_PANEL, MEANS)
    titles = {name: title for name, (_, title) in means.items()}
    setting = codes.concept("setting", side["side"].partition("-")[0])
    observation = {
        "resourceType": "Observation",
        "extension": [{"url": SETTING_EXTENSION, "valueCodeableConcept": setting}],
        "status": "final",
        "category": [VITAL_SIGNS],
        "code": coded(LOINC, *panel),
        "subject": patient,
        "effectivePeriod": period_of(assessment, rows),
        **({"derivedFrom": sources} if sources else {}),
        "component": [component(titles, means[name][0], name, side[name]) for name in PRESSURES],
    }
    if side["category"]:
        observation["interpretation"] = [coded(CATEGORIES, side["category"], side["title"])]
    return observation


def _rows_of(assessment: Assessment, subject: int, side: str) -> Ints:
    """Return the rows of the readings that a side's average is of."""
    rows, setting = assessment.batch.rows_of(subject), SETTINGS.index(SETTING_OF[side])
    mine = assessment.selection.averages[SIDES[side]][rows] & (assessment.batch.setting[rows] == setting)
    chosen: Ints = rows.start + np.flatnonzero(mine)
    return chosen


def period_of(assessment: Assessment, rows: Ints) -> dict[str, str]:
    """Return from when to when readings were taken; they are in time order."""
    first, last = int(rows[0]), int(rows[-1])
    return {"start": local_time(assessment.batch, first), "end": local_time(assessment.batch, last)}


def finding_written(finding: Mapping[str, Any], patient: Reference, readings: Mapping[str, Reference]) -> dict[str, Any]:
    """Return a finding as a DetectedIssue."""
    implicated = [readings[name] for name in finding["readings"] if name in readings]
    evidence = [{"code": [{"text": f"{source['cite']} ({source['standing']})"}]} for source in finding["sources"]]
    return {
        "resourceType": "DetectedIssue",
        "status": "final",
        "code": coded(RULES, finding["rule"], finding["title"]),
        "severity": finding["severity"],
        "patient": patient,
        **({"implicated": implicated} if implicated else {}),
        **({"evidence": evidence} if evidence else {}),
        "detail": finding["explanation"],
        **({"mitigation": [{"action": {"text": finding["advice"]}}]} if finding["advice"] else {}),
    }


def report_written(
    answer: Mapping[str, Any], patient: Reference, means: Sequence[Reference], period: Mapping[str, str] | None
) -> dict[str, Any]:
    """Return the conclusion as a DiagnosticReport."""
    classification = answer["classification"]
    report: dict[str, Any] = {
        "resourceType": "DiagnosticReport",
        "language": answer["made_with"]["language"],
        "status": "final",
        "code": {"text": REPORT},
        "subject": patient,
        "conclusion": " ".join(answer["conclusion"]["clinician"]),
    }
    if period:
        report["effectivePeriod"] = period
    if means:
        report["result"] = list(means)
    if classification.get("category"):
        report["conclusionCode"] = [coded(CATEGORIES, classification["category"], classification["title"])]
    return report


def messages_written(answer: Mapping[str, Any], patient: Reference, report: Reference) -> list[dict[str, Any]]:
    """Return what is urgent and what to do next, each for the clinician and for the person."""
    urgency, steps = answer["urgency"], answer["next_steps"]
    priority = PRIORITIES.get(urgency["level"])
    urgent = [(urgency["text"], "clinician"), (urgency["patient"], "patient")] if priority else []
    written = [_message("Urgency", priority, [text], reader, patient, report) for text, reader in urgent if text]
    for reader, key in (("clinician", "text"), ("patient", "patient")):
        texts = [step[key] for step in steps if step[key]]
        if texts:
            written.append(_message("Next steps", "routine", texts, reader, patient, report))
    return written


def _message(
    about: str, priority: str | None, texts: Sequence[str], reader: str, patient: Reference, report: Reference
) -> dict[str, Any]:  # fmt: skip
    """Return a Communication that is prepared, and not sent."""
    to = {"recipient": [patient]} if reader == "patient" else {}
    return {
        "resourceType": "Communication",
        "status": "preparation",
        "category": [{"text": f"{about} ({reader})"}],
        "priority": priority,
        "subject": patient,
        "about": [report],
        **to,
        "payload": [{"contentString": text} for text in texts],
    }


def provenance_written(
    answer: Mapping[str, Any], service: Reference, targets: Sequence[Reference], recorded: str | None
) -> dict[str, Any]:
    """Return which rules all of it was made with, and when, if that is told."""
    rules = answer["made_with"]["rules"]
    assembler = coded("http://terminology.hl7.org/CodeSystem/provenance-participant-type", "assembler", "Assembler")
    what = {
        "identifier": {"system": RULES, "value": rules["fingerprint"]},
        "display": f"{rules['name']} {rules['revision']}",
    }
    return {
        "resourceType": "Provenance",
        "target": list(targets),
        **({"recorded": recorded} if recorded else {"_recorded": NOT_RECORDED}),
        "agent": [{"type": assembler, "who": service}],
        "entity": [{"role": "source", "what": what}],
    }  # fmt: skip
