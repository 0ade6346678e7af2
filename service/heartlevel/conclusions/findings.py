"""What fired: each rule with all its rows, and the findings of each subject, in order of weight."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Ints
from heartlevel.conclusions.numbers import rounded
from heartlevel.facts.catalogue import CATALOGUE, Fact
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import SCOPES, SEVERITIES

FACT_DECIMALS = 3
NO_READING = -1


@dataclass(frozen=True, slots=True)
class Firing:
    """A rule that fires somewhere in a batch, with the rows of its scope for which it does, in order."""

    rule: Rule
    number: int  # of the rule, among those of all scopes
    rows: Ints
    subjects: Ints  # whose each row is

    def reading_rows(self, batch: Batch) -> Ints:
        """Return the rows of all readings concerned, in order; none for a rule of the whole series or of a device."""
        if self.rule.scope == "reading":
            return self.rows
        if self.rule.scope != "sitting":
            return np.zeros(0, dtype=np.int64)
        sittings: Bools = np.zeros(batch.sittings, dtype=np.bool_)
        sittings[self.rows] = True
        return np.flatnonzero(sittings[batch.sitting_of])


@dataclass(slots=True)
class Finding:
    """A rule that fired for a subject, with the rows of its scope that have the same facts."""

    rule: Rule
    facts: dict[str, Any]  # as told: decoded, numbers rounded
    rows: list[int] = field(default_factory=list)  # of the rule's scope
    readings: list[int] = field(default_factory=list)  # rows of readings concerned
    name: str = ""

    @property
    def order(self) -> tuple[Any, ...]:
        """Urgent first, then by severity, scope, rule and first row."""
        severity, scope = SEVERITIES.index(self.rule.severity), SCOPES.index(self.rule.scope)
        return not self.rule.urgent, severity, scope, self.rule.id, self.rows[0]


@dataclass(frozen=True, slots=True)
class RulesBySubject:
    """A row for each rule and subject it fires for: by subject, urgent rules first, then those of high severity."""

    subject: Ints
    rule: Ints  # its number among the rules of all scopes
    readings: Ints  # how many are concerned
    first: Ints  # row of the first of them, or NO_READING


def firings_of(assessment: Assessment) -> list[Firing]:
    """Return every rule that fires in a batch, scope by scope."""
    firings, before = list[Firing](), 0
    for scope in SCOPES:
        verdicts, owner = assessment.verdicts[scope], assessment.facts[scope].subject_of
        fired = verdicts.fired()
        for index in np.any(fired, axis=1).nonzero()[0].tolist():
            (rows,) = fired[index].nonzero()
            firings.append(Firing(verdicts.rules[index], before + index, rows, owner[rows]))
        before += len(verdicts.rules)
    return firings


def found_amiss(firings: Sequence[Firing], *, amiss: bool = True) -> list[Firing]:
    """Return what is told as findings, or else the rest: notes, of which another part of the answer has the figures."""
    return [firing for firing in firings if (firing.rule.told_in is None) == amiss]


def findings_of(assessment: Assessment, firings: Sequence[Firing]) -> list[list[Finding]]:
    """Return each subject's findings, in order and named f-1, f-2 and so on."""
    by_subject: list[dict[tuple[Any, ...], Finding]] = [{} for _ in assessment.batch.requests]
    readings_of = {"reading": [[row] for row in range(assessment.batch.size)], "sitting": _by_sitting(assessment.batch)}
    for firing in firings:
        rule, concerned = firing.rule, readings_of.get(firing.rule.scope)
        columns = assessment.facts[rule.scope]
        facts = [_told(CATALOGUE[name], columns[name][firing.rows].tolist()) for name in rule.shown_facts]
        for subject, row, *values in zip(firing.subjects.tolist(), firing.rows.tolist(), *facts, strict=True):
            findings, key = by_subject[subject], (rule.id, *values)
            finding = findings.get(key)
            if finding is None:
                finding = findings[key] = Finding(rule, dict(zip(rule.shown_facts, values, strict=True)))
            finding.rows.append(row)
            if concerned is not None:
                finding.readings += concerned[row]
    return [_named(sorted(findings.values(), key=lambda finding: finding.order)) for findings in by_subject]


def _named(findings: list[Finding]) -> list[Finding]:
    for number, finding in enumerate(findings, start=1):
        finding.name = f"f-{number}"
    return findings


def _by_sitting(batch: Batch) -> list[list[int]]:
    readings: list[list[int]] = [[] for _ in range(batch.sittings)]
    for row, sitting in enumerate(batch.sitting_of.tolist()):
        readings[sitting].append(row)
    return readings


def _told(fact: Fact, values: list[float]) -> list[Any]:
    if fact.kind == "number":
        return [rounded(value, FACT_DECIMALS) for value in values]
    return [fact.decoded(value) for value in values]


def rules_by_subject(assessment: Assessment, firings: Sequence[Firing]) -> RulesBySubject:
    """Return which rules fire for whom, without their facts: no object a finding."""
    # Of each rule and subject: subject, what comes first among the subject's, readings, first row of a reading.
    columns = [np.zeros((6, 0), dtype=np.int64)]
    for firing in firings:
        rows, rule = firing.reading_rows(assessment.batch), firing.rule
        subjects = assessment.batch.subject_of[rows] if len(rows) else firing.subjects
        subjects, first, counts = np.unique(subjects, return_index=True, return_counts=True)
        readings, first = (counts, rows[first]) if len(rows) else (counts * 0, counts * 0 + NO_READING)
        order = ([[value]] * np.ones_like(subjects) for value in (not rule.urgent, rule.severity != "high", firing.number))
        columns.append(np.vstack([subjects, *order, readings, first]))
    table = np.concatenate(columns, axis=1)
    subject, _, _, number, readings, first = table[:, np.lexsort(table[3::-1])]
    return RulesBySubject(subject, number, readings, first)
