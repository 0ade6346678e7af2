"""What to do next, in the order of what it would change: urgent first, then the faults that mislead most."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt

from heartlevel.assessment import Assessment
from heartlevel.conclusions.findings import Finding
from heartlevel.conclusions.sides import Objection
from heartlevel.conclusions.urgency.sentences import outdone, step_of
from heartlevel.profiles import SizeOfFaults
from heartlevel.ruling.language.rules import Rule, Shift

UNUSABLE = "unusable"
SHOWN_FIRST = 3  # so many steps at most are what to begin with


@dataclass(slots=True)
class Step:
    """A next step of a subject, with the names of the findings, and all rules, notes' among them, that ask for it."""

    code: str
    because: list[str] = field(default_factory=list)
    rules: list[str] = field(default_factory=list)
    urgent: bool = False
    weight: float = 0.0  # mm[Hg]: the largest share of readings times likely size, of its findings
    first: bool = False  # one of those to begin with


def steps_of(
    assessment: Assessment,
    findings: Sequence[Sequence[Finding]],
    notes: Sequence[Sequence[Finding]],
    objections: Sequence[Mapping[int, Sequence[Objection]]],
) -> list[list[Step]]:
    """Return each subject's next steps, the most important first.

    Ordered by urgency, then by the share of the subject's readings concerned times the likely size of the fault, where what
    takes a side away counts as if its readings were unusable; then what a finding asks for before what only a note does, as
    the wording file has them. The size only orders advice.
    """
    sizes, by_subject = assessment.rules.size_of_faults, []
    by_request = zip(assessment.batch.requests, findings, notes, strict=True)
    for subject, (request, own_findings, own_notes) in enumerate(by_request):
        rows = assessment.batch.rows_of(subject)
        lost = _lost_with(assessment, subject, objections[subject])
        steps: dict[str, Step] = {}
        for asking in (*own_findings, *own_notes):
            code = step_of(asking)
            if code is None:
                continue
            step = steps.setdefault(code, Step(code))
            if asking.rule.id not in step.rules:
                step.rules.append(asking.rule.id)
            if asking.rule.told_in is None:  # a finding, and no note
                step.because.append(asking.name)
                step.urgent |= asking.urgent
                own = (
                    _weight(asking, rows.stop - rows.start, sizes),
                    lost.get(asking.rule.id, 0) * sizes.by_effect[UNUSABLE],
                )
                step.weight = max(step.weight, *own)
        for code, sooner in outdone(steps).items():
            _taken_over(steps[sooner], steps.pop(code))
        order = list(assessment.rules.wording[request.language].next_steps)
        by_subject.append(_ordered(steps, order))
    return by_subject


def _taken_over(step: Step, later: Step) -> None:
    """Have a step stand for another too, that asks for the same later."""
    step.because += [name for name in later.because if name not in step.because]
    step.rules += [rule for rule in later.rules if rule not in step.rules]


def _ordered(steps: Mapping[str, Step], order: Sequence[str]) -> list[Step]:
    ordered = sorted(
        steps.values(), key=lambda step: (not step.urgent, -step.weight, not step.because, order.index(step.code))
    )
    for step in ordered[:SHOWN_FIRST]:
        step.first = True
    return ordered


def _lost_with(assessment: Assessment, subject: int, by_side: Mapping[int, Sequence[Objection]]) -> dict[str, float]:
    """Return, by each rule that takes sides away, the share of the subject's readings that the largest of them has."""
    rows, readings = assessment.batch.rows_of(subject), assessment.sides.measured.readings[:, subject]
    shares: dict[str, float] = {}
    for side, objections in by_side.items():
        share = float(readings[side]) / max(rows.stop - rows.start, 1)
        for objection in objections:
            if objection.takes_away and objection.consequence == "excludes":
                shares[objection.code] = max(shares.get(objection.code, 0.0), share)
    return shares


def _weight(finding: Finding, readings: int, sizes: SizeOfFaults) -> float:
    """Return the share of all readings that a finding concerns times the likely size of its fault (mm[Hg])."""
    rule = finding.rule
    if rule.scope not in ("reading", "sitting"):
        return 0.0
    return len(finding.readings) / readings * likely_size(rule, sizes, finding.facts)


def likely_size(rule: Rule, sizes: SizeOfFaults, facts: Mapping[str, object] | None = None) -> float:
    """Return the likely size of a rule's fault (mm[Hg]), by the facts of a finding where it depends on them."""
    shift = rule.expected_error.get("systolic")
    return _size(shift, facts or {}) if shift else sizes.by_effect[rule.effect_name]


def _size(shift: Shift, facts: Mapping[str, object]) -> float:
    """Return the likely size of an error: the fact that is its amount, else the geometric middle of what is published."""
    if shift.bounds is None:
        amount = facts.get(shift.amount) if shift.amount else None
        return abs(amount) if isinstance(amount, (int, float)) else 0.0
    low, high = map(abs, shift.bounds)
    return sqrt(low * high) if low * high > 0 else (low + high) / 2
