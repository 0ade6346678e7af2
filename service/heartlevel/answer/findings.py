"""Findings as they stand in the answer: with their facts, the wording and the sources."""

from collections.abc import Mapping, Sequence
from typing import Any

from heartlevel.conclusions.concerned import concerned
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.findings import Finding
from heartlevel.conclusions.silencing.search import reason_of
from heartlevel.conclusions.slips import slip_pointers
from heartlevel.conclusions.urgency.sentences import PATIENT, own_words, to_do
from heartlevel.intake.faults import Problem
from heartlevel.vocabulary import URGENCY_LEVELS


def written_findings(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return a subject's findings as they stand in the answer."""
    assessment = conclusions.assessment
    limits = assessment.rules.limits(assessment.guidelines[subject].id, assessment.protocols[subject].id)
    return [_written(conclusions, finding, subject, limits) for finding in conclusions.findings[subject]]


def written_notes(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return what rules say of a subject that is nothing amiss, and which part of the answer has the figures."""
    assessment = conclusions.assessment
    language = assessment.batch.requests[subject].language
    limits = assessment.rules.limits(assessment.guidelines[subject].id, assessment.protocols[subject].id)
    notes = []
    for note in conclusions.notes[subject]:
        words = assessment.rules.wording[language].rules[note.rule.id]
        notes.append({
            "rule": note.rule.id,
            "told_in": note.rule.told_in,
            "title": words.title,
            "explanation": words.explanation.filled(note.facts, limits),
            "patient": words.patient.filled(note.facts, limits),
        })  # fmt: skip
    return notes


def _written(conclusions: Conclusions, finding: Finding, subject: int, limits: Mapping[str, float]) -> dict[str, Any]:
    assessment, rule, facts = conclusions.assessment, finding.rule, finding.facts
    batch, request = assessment.batch, assessment.batch.requests[subject]
    words = assessment.rules.wording[request.language].rules[rule.id]
    answer: dict[str, Any] = {
        "id": finding.name,
        "rule": rule.id,
        "scope": rule.scope,
        "severity": rule.severity,
        "urgent": finding.urgent,
        "urgency": URGENCY_LEVELS[finding.level] if rule.urgent else None,
        "effect": rule.effect_name,
        "title": words.title,
        "explanation": " ".join([words.explanation.filled(facts, limits), *concerned(assessment, finding, subject)]),
        "advice": _of_ladder(conclusions, finding, subject) or words.advice.filled(facts, limits),
        "patient": _of_ladder(conclusions, finding, subject, PATIENT) or words.patient.filled(facts, limits),
        "readings": [batch.names[row] for row in finding.readings],
        "count": finding.count,
        "days": finding.days,
        "range": finding.ranges,
        "facts": {name: value for name, value in facts.items() if value is not None},
        "sources": [{"cite": source.cite, "standing": source.standing} for source in rule.sources],
    }
    if rule.scope == "device":
        answer["devices"] = [batch.checks[row]["device"] for row in finding.rows]
    if request.explain == "full":
        answer["reason"] = reason_of(assessment, rule, finding.worst, subject)
    return answer


def _of_ladder(conclusions: Conclusions, finding: Finding, subject: int, audience: str = "") -> str | None:
    return None if own_words(finding) else to_do(conclusions.urgency, subject, finding.level, audience)


def entry_problems(conclusions: Conclusions, subject: int, written: Sequence[Mapping[str, Any]]) -> list[Problem]:
    """Return the findings that are slips of entry as problems too, at the field at fault; `written` are the findings."""
    batch = conclusions.assessment.batch
    return [
        Problem(pointer, finding.rule.id, answer["explanation"], answer["advice"])
        for finding, answer in zip(conclusions.findings[subject], written, strict=True)
        for pointer in slip_pointers(batch, finding.rule, finding.readings)
    ]
