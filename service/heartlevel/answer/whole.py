"""The answer: one plain object a subject, the same for the same input and rules, to the byte."""

from collections.abc import Iterator, Sequence
from typing import Any

import orjson

from heartlevel.answer.device_checks import device_checks
from heartlevel.answer.figures import SHOWN, Figures
from heartlevel.answer.findings import Finding, entry_problems, expected_errors, findings_of, written_out
from heartlevel.answer.spread import Spread
from heartlevel.answer.what_next import WhatNext
from heartlevel.assessment import Assessment
from heartlevel.intake.faults import sorted_problems
from heartlevel.version import VERSION
from heartlevel.vocabulary import RELIABILITIES


def answers(assessment: Assessment) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject, in the order of the requests."""
    found = findings_of(assessment)
    parts = Figures(assessment), Spread(assessment), WhatNext(assessment)
    for subject, findings in enumerate(found):
        yield _answer(assessment, parts, findings, subject)


def device_answers(assessment: Assessment) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject with what concerns devices, and nothing of readings."""
    for whole in answers(assessment):
        findings = [one for one in whole["findings"] if one["scope"] == "device"]
        names = {one["id"] for one in findings}
        steps = [one | {"because": [name for name in one["because"] if name in names]} for one in whole["next_steps"]]
        yield {
            "made_with": whole["made_with"],
            "device_checks": whole["device_checks"],
            "findings": findings,
            "next_steps": [one for one in steps if one["because"]],
            "problems": whole["problems"],
            "cautions": whole["cautions"],
        }


def as_json(answer: dict[str, Any]) -> bytes:
    """Write an answer as JSON; numbers are finite by construction, and tests hold it to that."""
    return orjson.dumps(answer)


def _answer(
    of: Assessment, parts: tuple[Figures, Spread, WhatNext], findings: list[Finding], subject: int
) -> dict[str, Any]:
    (figures, spread, then), request = parts, of.batch.requests[subject]
    wording = of.rules.wording[request.language]
    texts = [written_out(finding, of, subject) for finding in findings]
    problems = sorted_problems([*request.problems, *entry_problems(findings, texts, of.batch.indices)])
    pattern, classification = figures.pattern(subject, findings), figures.classification(subject)
    steps = _next_steps(findings, wording.next_steps)
    codes = {step["code"] for step in steps}
    return {
        "subject": {"id": request.subject["id"]},
        "made_with": _made_with(of, subject),
        "urgent": any(finding.rule.urgent for finding in findings),
        "readings": list(_readings(of, figures, findings, subject)),
        "findings": texts,
        "averages": figures.averages(subject),
        "variability": spread.variability(subject),
        "coverage": figures.coverage(subject),
        "undocumented": figures.undocumented(subject),
        "pattern": pattern,
        "classification": classification,
        "device_checks": device_checks(of, subject),
        "next_steps": steps,
        "what_next": then.what_next(subject, classification, pattern["label"], codes),
        "problems": [problem.as_dict() for problem in problems],
        "cautions": list(wording.cautions),
    }


def _made_with(of: Assessment, subject: int) -> dict[str, Any]:
    request, rules = of.batch.requests[subject], of.rules
    return {
        "service": VERSION,
        "rules": {
            "name": rules.name,
            "revision": rules.revision,
            "layers": [{"name": one.name, "revision": one.revision} for one in rules.layers],
            "fingerprint": rules.fingerprint,
        },
        "guideline": request.guideline,
        "limits_from": of.guidelines[subject].id,
        "protocol": of.protocols[subject].id,
        "population": request.population,
        "language": request.language,
        "as_of": request.as_of.isoformat() if request.as_of else None,
    }


def _readings(of: Assessment, figures: Figures, findings: Sequence[Finding], subject: int) -> Iterator[dict[str, Any]]:
    errors = expected_errors(findings)
    named: dict[int, list[str]] = {}
    for finding in findings:
        for row in finding.readings:
            named.setdefault(row, []).append(finding.name)
    rows = of.batch.rows_of(subject)
    levels = of.reliability[rows].tolist()
    for row, level, values in zip(range(rows.start, rows.stop), levels, figures.pressures[rows], strict=True):
        yield {
            "id": of.batch.names[row],
            "reliability": RELIABILITIES[level],
            "findings": named.get(row, []),
            **dict(zip(SHOWN, values, strict=True)),
            "expected_errors": errors.get(row, []),
        }


def _next_steps(findings: Sequence[Finding], texts: Any) -> list[dict[str, Any]]:
    because: dict[str, list[str]] = {}
    for finding in findings:
        step = finding.rule.next_step
        if step:
            because.setdefault(step, []).append(finding.name)
    return [{"code": code, "text": text, "because": because[code]} for code, text in texts.items() if code in because]
