"""Readings as they stand in the answer: how many were lost; how reliable each is, what findings and errors it has."""

from collections import Counter
from collections.abc import Iterable, Mapping
from itertools import chain, repeat
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.findings import FACT_DECIMALS, Finding
from heartlevel.conclusions.numbers import all_rounded, rounded
from heartlevel.ruling.language.rules import Rule, Shift
from heartlevel.vocabulary import RELIABILITIES, SETTINGS

UNKNOWN = "unknown"
READING_PRESSURES = ("systolic", "diastolic", "mean_arterial", "pulse_pressure")


def counts(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return a subject's counts as they stand in the answer."""
    readings = conclusions.assessment.batch.requests[subject].lost
    lost = Counter(reading.setting or UNKNOWN for reading in readings)
    assessed = [*conclusions.by_setting[subject], 0]
    by_setting = zip((*SETTINGS, UNKNOWN), assessed, strict=True)
    return {
        **_counted(sum(assessed), len(readings)),
        "by_setting": {name: _counted(count, lost[name]) for name, count in by_setting if count or name in lost},
        "lost_because": _in_order(code for reading in readings for code in reading.codes),
    }


def _counted(assessed: int, lost: int) -> dict[str, int]:
    return {"received": assessed + lost, "assessed": assessed, "lost": lost}


def _in_order(codes: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(codes).items()))


class Readings:
    """The readings of each subject; numbers are rounded, and findings gone through, for all subjects at once."""

    def __init__(self, conclusions: Conclusions) -> None:
        """Gather by row what the answers are read from."""
        assessment = conclusions.assessment
        self.batch, facts = assessment.batch, assessment.facts["reading"]
        self.reliability = [RELIABILITIES[level] for level in assessment.reliability.tolist()]
        self.pressures = all_rounded(np.array([facts[name] for name in READING_PRESSURES]).T)
        self.findings: dict[int, list[str]] = {}
        for finding in chain.from_iterable(conclusions.findings):
            for row in finding.readings:
                self.findings.setdefault(row, []).append(finding.name)
        self.errors: dict[int, list[dict[str, Any]]] = {}
        for own in conclusions.findings:
            self.errors |= _expected_errors(assessment, own)

    def written(self, subject: int) -> list[dict[str, Any]]:
        """Return a subject's readings."""
        rows = self.batch.rows_of(subject)
        columns = (self.batch.names[rows], self.reliability[rows], self.pressures[rows])
        return [
            {
                "id": name,
                "reliability": reliability,
                "findings": self.findings.get(row, []),
                "systolic": systolic,
                "diastolic": diastolic,
                "mean_arterial": mean_arterial,
                "pulse_pressure": pulse_pressure,
                "expected_errors": self.errors.get(row, []),
            }
            for row, name, reliability, (systolic, diastolic, mean_arterial, pulse_pressure) in zip(
                range(rows.start, rows.stop), *columns, strict=True
            )
        ]


def _expected_errors(assessment: Assessment, findings: Iterable[Finding]) -> dict[int, list[dict[str, Any]]]:
    """Return, by reading of one subject, what each technique fault is known to do; listed one by one, never added up."""
    errors: dict[int, list[dict[str, Any]]] = {}
    alike: dict[tuple[str, tuple[float, ...]], dict[str, Any]] = {}  # by rule, and the amounts that they depend on
    for finding in findings:
        rule, depends_on = finding.rule, _amounts(assessment, finding) if finding.rule.expected_error else ()
        for reading, amounts in zip(finding.readings, depends_on, strict=False):
            if (rule.id, amounts) not in alike:
                alike[rule.id, amounts] = _error(rule, amounts)
            errors.setdefault(reading, []).append(alike[rule.id, amounts])
    return errors


def _amounts(assessment: Assessment, finding: Finding) -> Iterable[tuple[float, ...]]:
    """Return, for each reading of a finding, the facts that its errors depend on."""
    facts, names = assessment.facts[finding.rule.scope], _facts_shown(finding.rule)
    if not names:
        return repeat(())
    rows = finding.rows_of_readings(assessment.batch)
    return zip(*(facts[name][rows].tolist() for name in names), strict=True)


def _facts_shown(rule: Rule) -> list[str]:
    return list(dict.fromkeys(shift.amount for shift in rule.expected_error.values() if shift.amount))


def _error(rule: Rule, amounts: tuple[float, ...]) -> dict[str, Any]:
    told = dict(zip(_facts_shown(rule), (rounded(amount, FACT_DECIMALS) for amount in amounts), strict=True))
    return {"because": rule.id, **{pressure: _shift(shift, told) for pressure, shift in rule.expected_error.items()}}


def _shift(shift: Shift, facts: Mapping[str, Any]) -> dict[str, Any]:
    direction = "either" if shift.reads == "either" else f"reads-{shift.reads}"
    if shift.amount is None:
        return {"direction": direction, "range": [float(bound) for bound in shift.bounds or ()]}
    amount = facts[shift.amount]
    return {"direction": direction, "amount": None if amount is None else round(abs(amount), 1)}
