"""The answer: one plain object a subject, the same for the same input and rules, to the byte."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import orjson

from heartlevel.answer.classification import Classifications
from heartlevel.answer.conclusion import conclusion
from heartlevel.answer.device_checks import checks_written
from heartlevel.answer.figures import Figures
from heartlevel.answer.findings import entry_problems, written_findings, written_notes
from heartlevel.answer.followup import change, devices, observed_technique, periods, pulse, target
from heartlevel.answer.next_steps import DaysToCome, next_steps
from heartlevel.answer.readings import Readings, counts
from heartlevel.answer.sides import sides_written
from heartlevel.answer.urgency import urgency_written
from heartlevel.assessment import Assessment
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.intake.faults import problems_written, sorted_problems
from heartlevel.version import VERSION


def answers(assessment: Assessment) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject, in the order of the requests."""
    return written_answers(conclude(assessment))


def written_answers(conclusions: Conclusions) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject, in the order of the requests, of what has been concluded."""
    parts = _Parts(Readings(conclusions), Figures(conclusions), Classifications(conclusions), DaysToCome(conclusions))
    for subject in range(len(conclusions.assessment.batch.requests)):
        yield _answer(conclusions, parts, subject)


def device_answers(assessment: Assessment) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject with what concerns devices, and nothing of readings."""
    for whole in answers(assessment):
        findings = [finding for finding in whole["findings"] if finding["scope"] == "device"]
        names = {finding["id"] for finding in findings}
        steps = [step | {"because": [name for name in step["because"] if name in names]} for step in whole["next_steps"]]
        yield {
            "made_with": whole["made_with"],
            "device_checks": whole["device_checks"],
            "findings": findings,
            "next_steps": [step for step in steps if step["because"]],
            "problems": whole["problems"],
            "cautions": whole["cautions"],
        }


def as_json(answer: dict[str, Any]) -> bytes:
    """Write an answer as JSON; numbers are finite by construction, and tests hold it to that."""
    return orjson.dumps(answer)


@dataclass(frozen=True, slots=True)
class _Parts:
    """The parts of answers that are made ready for all subjects at once."""

    readings: Readings
    figures: Figures
    classifications: Classifications
    days_to_come: DaysToCome


def _answer(conclusions: Conclusions, parts: _Parts, subject: int) -> dict[str, Any]:
    assessment, figures, classifications = conclusions.assessment, parts.figures, parts.classifications
    request, findings = assessment.batch.requests[subject], written_findings(conclusions, subject)
    problems = sorted_problems([*request.problems, *entry_problems(conclusions, subject, findings)])
    return {
        "subject": {"id": request.subject["id"]},
        "conclusion": conclusion(conclusions, subject),
        "made_with": _made_with(assessment, subject),
        "urgent": bool(conclusions.urgent[subject]),
        "urgency": urgency_written(conclusions, subject),
        "counts": counts(conclusions, subject),
        "readings": parts.readings.written(subject),
        "findings": findings,
        "notes": written_notes(conclusions, subject),
        "averages": figures.averages(subject),
        "variability": figures.variability(subject),
        "coverage": figures.coverage(subject),
        "undocumented": figures.undocumented(subject),
        "sides": sides_written(conclusions, subject),
        "pattern": classifications.pattern(subject),
        "classification": classifications.classification(subject),
        "periods": periods(conclusions, subject),
        "change": change(conclusions, subject),
        "target": target(conclusions, subject),
        "pulse": pulse(conclusions, subject),
        **devices(conclusions, subject),
        "observed_technique": observed_technique(conclusions, subject, findings),
        "device_checks": checks_written(conclusions, subject),
        "next_steps": next_steps(conclusions, subject),
        "what_next": parts.days_to_come.what_next(subject),
        "problems": problems_written(problems),
        "cautions": list(assessment.rules.wording[request.language].cautions),
    }


def _made_with(assessment: Assessment, subject: int) -> dict[str, Any]:
    request, rules = assessment.batch.requests[subject], assessment.rules
    return {
        "service": VERSION,
        "rules": {
            "name": rules.name,
            "revision": rules.revision,
            "layers": [layer.as_dict() for layer in rules.layers],
            "fingerprint": rules.fingerprint,
        },
        "guideline": request.guideline,
        "limits_from": assessment.guidelines[subject].id,
        "protocol": assessment.protocols[subject].id,
        "population": request.population,
        "language": request.language,
        "as_of": request.as_of.isoformat() if request.as_of else None,
    }
