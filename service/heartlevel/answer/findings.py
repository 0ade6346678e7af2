"""Findings: what fired, for whom, with the facts, the wording and the sources; like ones merged."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from heartlevel.answer.numbers import rounded
from heartlevel.answer.reasons import reason_of
from heartlevel.assessment import Assessment
from heartlevel.facts.catalogue import CATALOGUE, Fact
from heartlevel.intake.faults import Problem
from heartlevel.ruling.language.rules import Rule, Shift
from heartlevel.vocabulary import SCOPES, SEVERITIES

FACT_PLACES = 3


@dataclass(slots=True)
class Finding:
    """One rule that fired for one subject with one set of facts."""

    rule: Rule
    facts: dict[str, Any]
    rows: list[int] = field(default_factory=list)  # of the rule's scope
    readings: list[int] = field(default_factory=list)  # rows of readings concerned
    name: str = ""

    @property
    def order(self) -> tuple[Any, ...]:
        """Urgent first, then by severity, scope, rule and first row."""
        severity, scope = SEVERITIES.index(self.rule.severity), SCOPES.index(self.rule.scope)
        return not self.rule.urgent, severity, scope, self.rule.id, self.rows[0]


def findings_of(assessment: Assessment) -> list[list[Finding]]:
    """Return each subject's findings, in order and named f-1, f-2 and so on."""
    found: list[dict[tuple[Any, ...], Finding]] = [{} for _ in assessment.batch.requests]
    readings_of = _readings_of_sittings(assessment)
    for scope in SCOPES:
        owner = _owners(assessment, scope)
        for rule, row, facts in _fired(assessment, scope):
            subject = owner[row]
            finding = found[subject].setdefault((rule.id, *facts.values()), Finding(rule, facts))
            finding.rows.append(row)
            if scope in ("reading", "sitting"):
                finding.readings += [row] if scope == "reading" else readings_of[row]
    return [_named(sorted(several.values(), key=lambda one: one.order)) for several in found]


def _named(findings: list[Finding]) -> list[Finding]:
    for place, finding in enumerate(findings, start=1):
        finding.name = f"f-{place}"
    return findings


def _owners(assessment: Assessment, scope: str) -> list[int]:
    """Return the subject of each row of a scope."""
    batch = assessment.batch
    owners = {
        "reading": batch.subject_of,
        "sitting": batch.subject_of_sitting,
        "series": np.arange(len(batch.requests)),
        "device": assessment.checks.subject_of,
    }
    whole: list[int] = owners[scope].tolist()
    return whole


def _readings_of_sittings(assessment: Assessment) -> list[list[int]]:
    readings: list[list[int]] = [[] for _ in range(assessment.batch.sittings)]
    for row, sitting in enumerate(assessment.batch.sitting_of.tolist()):
        readings[sitting].append(row)
    return readings


def _fired(assessment: Assessment, scope: str) -> Iterator[tuple[Rule, int, dict[str, Any]]]:
    verdicts, columns = assessment.verdicts[scope], assessment.facts[scope]
    all_fired = verdicts.fired()
    for place in np.flatnonzero(all_fired.any(axis=1)).tolist():
        rule, rows = verdicts.rules[place], np.flatnonzero(all_fired[place])
        shown = [_shown(CATALOGUE[name], columns[name][rows].tolist()) for name in rule.shown_facts]
        for row, *values in zip(rows.tolist(), *shown, strict=True):
            yield rule, row, dict(zip(rule.shown_facts, values, strict=True))


def _shown(fact: Fact, values: list[float]) -> list[Any]:
    if fact.kind == "number":
        return [rounded(value, FACT_PLACES) for value in values]
    return [fact.decoded(value) for value in values]


def written_out(finding: Finding, assessment: Assessment, subject: int) -> dict[str, Any]:
    """Return a finding as it stands in the answer."""
    request = assessment.batch.requests[subject]
    limits = assessment.rules.limits(assessment.guidelines[subject].id, assessment.protocols[subject].id)
    said = assessment.rules.wording[request.language].rules[finding.rule.id]
    answer: dict[str, Any] = {
        "id": finding.name,
        "rule": finding.rule.id,
        "scope": finding.rule.scope,
        "severity": finding.rule.severity,
        "urgent": finding.rule.urgent,
        "effect": finding.rule.effect_name,
        "title": said.title,
        "explanation": said.explanation.filled(finding.facts, limits),
        "advice": said.advice.filled(finding.facts, limits),
        "patient": said.patient.filled(finding.facts, limits),
        "readings": [assessment.batch.names[row] for row in finding.readings],
        "facts": {name: value for name, value in finding.facts.items() if value is not None},
        "sources": [{"cite": one.cite, "standing": one.standing} for one in finding.rule.sources],
    }
    if finding.rule.scope == "device":
        answer["devices"] = [assessment.batch.checks[row]["device"] for row in finding.rows]
    if request.explain == "full":
        answer["reason"] = reason_of(assessment, finding.rule, finding.rows[0], subject)
    return answer


def expected_errors(findings: Sequence[Finding]) -> dict[int, list[dict[str, Any]]]:
    """Return, by reading, what each technique fault is known to do; listed one by one, never added up."""
    errors: dict[int, list[dict[str, Any]]] = {}
    for finding in findings:
        errors_of_rule = finding.rule.expected_error
        if errors_of_rule:
            shifts = {pressure: _shift(shift, finding.facts) for pressure, shift in errors_of_rule.items()}
            for row in finding.readings:
                errors.setdefault(row, []).append({"because": finding.rule.id, **shifts})
    return errors


def _shift(shift: Shift, facts: dict[str, Any]) -> dict[str, Any]:
    direction = "either" if shift.reads == "either" else f"reads-{shift.reads}"
    if shift.amount is None:
        return {"direction": direction, "range": [float(bound) for bound in shift.bounds or ()]}
    amount = facts[shift.amount]
    return {"direction": direction, "amount": None if amount is None else round(abs(amount), 1)}


def entry_problems(findings: Sequence[Finding], texts: Sequence[dict[str, Any]], places: Sequence[int]) -> list[Problem]:
    """Return the findings that are slips of entry as problems too, at the field at fault.

    `texts` are the findings written out, `places` each reading's index in its request.
    """
    return [
        Problem(f"/readings/{places[row]}/{field_name}", finding.rule.id, text["explanation"], text["advice"])
        for finding, text in zip(findings, texts, strict=True)
        if (field_name := finding.rule.field)
        for row in finding.readings
    ]
