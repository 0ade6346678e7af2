"""An assessed subject as a Bundle: what was measured, what is concluded, and what stands behind it."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Assessment
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.fhir.codes import Codes
from heartlevel.fhir.issues import INFORMATION, WARNING, Issue, issue_of, outcome_of
from heartlevel.fhir.writing.concluded import (
    SIDES,
    finding_written,
    mean_written,
    messages_written,
    period_of,
    provenance_written,
    report_written,
)  # fmt: skip
from heartlevel.fhir.writing.entries import Entries
from heartlevel.fhir.writing.measured import reading_written, with_reliability, write_devices, write_person
from heartlevel.intake.faults import problems_read
from heartlevel.vocabulary import CONCLUSION_ALONE, IN_BRIEF, IN_FULL

LEFT_OUT = Issue(
    INFORMATION, "incomplete",
    "Not written as resources: averages of other settings and of parts of the day, variability, probabilities, pattern, "
    "periods, change, target, pulse, comparisons of devices, other guidelines. The answer as application/json has them.",
)  # fmt: skip
NOT_IN_BRIEF = Issue(INFORMATION, "incomplete", "Not written, as `detail` is `brief`: readings and devices.")
CONCLUSION_WRITTEN = Issue(
    INFORMATION, "incomplete", "Not written, as `detail` is `conclusion`: readings, devices, averages and findings."
)
LEFT_OUT_AT = {IN_FULL: [], IN_BRIEF: [NOT_IN_BRIEF], CONCLUSION_ALONE: [CONCLUSION_WRITTEN]}


def bundle_of(
    subjects: Iterable[tuple[Conclusions, int, dict[str, Any]]], issues: Sequence[Issue] | None, codes: Codes,
    recorded: str | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Return a Bundle of some assessed subjects with their answers.

    `issues` are what is to be said of what was sent; without them, that is told from the problems in the answers.
    `recorded` is the instant of the assessment, for who tells it: no clock is read here.
    """
    written = list(subjects)
    entries = Entries(b"\n".join(as_json(answer) for _, _, answer in written))
    if issues is None:
        issues = [_issue_in(answer_fault) for _, _, answer in written for answer_fault in problems_read(answer["problems"])]
    service = entries.add(_service(written[0][2])) if written else None
    for conclusions, subject, answer in written:
        assert service is not None
        concluded = _write_subject(entries, conclusions, subject, answer, codes)
        entries.add(provenance_written(answer, service, concluded, recorded))
    asked = [conclusions.assessment.batch.requests[subject].detail for conclusions, subject, _ in written]
    entries.add(outcome_of([*issues, LEFT_OUT, *(issue for detail in asked for issue in LEFT_OUT_AT[detail])]))
    return entries.bundle()


def _issue_in(fault: Any) -> Issue:
    """Return what stands for a problem of a request that was not sent as FHIR: its text names the place."""
    issue = issue_of(fault, None)
    return Issue(WARNING, issue.type, f"{fault.pointer}: {issue.text}", None, issue.code)


def _write_subject(
    entries: Entries, conclusions: Conclusions, subject: int, answer: dict[str, Any], codes: Codes
) -> list[dict[str, str]]:
    """Add what is written of a subject; return References to what was concluded."""
    assessment = conclusions.assessment
    batch, request = assessment.batch, assessment.batch.requests[subject]
    patient = write_person(entries, batch, subject, assessment.rules.choices.form, codes)
    rows = np.arange(batch.size)[batch.rows_of(subject)]
    readings = _write_readings(entries, assessment, subject, patient, answer, codes) if request.detail == IN_FULL else {}
    by_name = {batch.names[row]: reference for row, reference in readings.items()}

    whole = request.detail != CONCLUSION_ALONE
    means = [
        entries.add(mean_written(assessment, subject, side, patient, readings, codes))
        for side in answer["sides"] if whole and side["side"] in SIDES and side["systolic"] is not None
    ]  # fmt: skip
    findings = [
        entries.add(finding_written(finding, patient, by_name)) for finding in (answer["findings"] if whole else ())
    ]
    period = period_of(assessment, rows) if len(rows) else None
    report = entries.add(report_written(answer, patient, means, period))
    messages = [entries.add(message) for message in messages_written(answer, patient, report)]
    return [*means, *findings, report, *messages]


def _write_readings(
    entries: Entries, assessment: Assessment, subject: int, patient: dict[str, str], answer: dict[str, Any], codes: Codes
) -> dict[int, dict[str, str]]:
    """Add the devices and readings of a subject; return References to the readings by their rows."""
    batch, form = assessment.batch, assessment.rules.choices.form
    devices, rows = write_devices(entries, batch.requests[subject]), batch.rows_of(subject)
    readings = {}
    for row, judged in zip(range(rows.start, rows.stop), answer["readings"], strict=True):
        written = reading_written(batch, row, form, patient, devices, codes)
        readings[row] = entries.add(with_reliability(written, judged["reliability"]))
    return readings


def _service(answer: dict[str, Any]) -> dict[str, Any]:
    """Return this service as a Device."""
    made_with = answer["made_with"]
    name = {"name": made_with["rules"]["name"], "type": "user-friendly-name"}
    return {"resourceType": "Device", "deviceName": [name], "version": [{"value": made_with["service"]}]}
