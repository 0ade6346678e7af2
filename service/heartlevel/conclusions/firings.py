"""What fired: each rule with all its rows, and which rules fire for whom, without their facts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Ints
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import SCOPES

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
        for index, rule, fired in verdicts.firing:
            (rows,) = fired.nonzero()
            firings.append(Firing(rule, before + index, rows, owner[rows]))
        before += len(verdicts.rules)
    return firings


def found_amiss(firings: Sequence[Firing], *, amiss: bool = True) -> list[Firing]:
    """Return what is told as findings, or else the rest: notes, of which another part of the answer has the figures."""
    return [firing for firing in firings if (firing.rule.told_in is None) == amiss]


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
