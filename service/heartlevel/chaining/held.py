"""Everything that the engine concludes of requests, held against what the columns of the service say of them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment, Rules, assess_requests
from heartlevel.chaining.conclusions import categories_followed, patterns_followed, urgent_followed
from heartlevel.chaining.findings import Findings, as_outcomes, findings_of_scope, reliabilities
from heartlevel.chaining.sides import sides_followed
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import Request
from heartlevel.ruling.running.examples import OUTCOMES
from heartlevel.vocabulary import SCOPES


@dataclass(slots=True)
class Held:
    """How much was compared, and each point on which engine and columns differ: subject and rule or conclusion, no data."""

    subjects: int = 0
    readings: int = 0  # those of earlier periods are judged by themselves, and once more as lying before the latest
    findings: int = 0  # outcomes of rules: of every rule for every row of its scope
    conclusions: int = 0  # reliability of readings; of subjects sides, category, pattern and whether anything is urgent
    differences: list[str] = field(default_factory=list)


def held_to_engine(requests: Sequence[Request], rules: Rules) -> Held:
    """Chain requests through the engine and hold the columns against it, earlier periods too. Raises EngineFailure."""
    held = Held()
    whole = assess_requests(requests, rules)
    held.subjects = len(requests)
    for assessment in filter(None, (whole, whole.earlier)):
        held.readings += assessment.batch.size
        findings = {scope: findings_of_scope(assessment, scope) for scope in SCOPES}
        _hold_findings(assessment, findings, held)
        for subjects, what, concluded, columns in _conclusions(assessment, findings):
            _hold(held, assessment, subjects, what, (concluded, columns))
    return held


def _hold_findings(assessment: Assessment, findings: Mapping[str, Findings], held: Held) -> None:
    names = [request.subject["id"] for request in assessment.batch.requests]
    for scope, rows in findings.items():
        rules, columns = assessment.rules.rules[scope], assessment.verdicts[scope].outcomes
        concluded, subjects = as_outcomes(rows, rules), assessment.facts[scope].subject_of.tolist()
        held.findings += concluded.size
        for rule, row in np.argwhere(concluded != columns).tolist():
            by_engine, by_columns = (OUTCOMES[int(outcomes[rule, row])] for outcomes in (concluded, columns))
            held.differences.append(
                f"{names[subjects[row]]}: {rules[rule].id} ({scope}) {by_engine} by the engine, {by_columns} by the columns"
            )


def _hold(held: Held, assessment: Assessment, subjects: Any, what: str, pair: tuple[Any, Any]) -> None:
    concluded, columns = (np.asarray(values) for values in pair)
    held.conclusions += concluded.size
    for row in np.flatnonzero(concluded != columns).tolist():
        name = assessment.batch.requests[int(subjects[row])].subject["id"]
        held.differences.append(f"{name}: {what} {concluded[row]} by the engine, {columns[row]} by the columns")


def _conclusions(assessment: Assessment, findings: Mapping[str, Findings]) -> Iterator[tuple[Any, str, Any, Any]]:
    """Yield, for each kind of conclusion, whose each is, and what it is by the engine and by the columns."""
    own, conclusions = np.arange(len(assessment.guidelines)), conclude(assessment)
    reliability = reliabilities(assessment, findings["reading"], findings["sitting"])
    yield assessment.batch.subject_of, "reliability", reliability, assessment.reliability
    sides, fitness = sides_followed(assessment, findings), assessment.fitness
    for number in range(len(fitness.fit)):
        yield own, f"side {number} fit", sides["fit"][number], fitness.fit[number]
        yield own, f"side {number} excluded", sides["excluded"][number], fitness.excluded[number]
    side, category = categories_followed(assessment, sides["excluded"])
    yield own, "side of the category", side, conclusions.category.side
    yield own, "category", category, conclusions.category.category
    yield own, "pattern", patterns_followed(assessment.rules, findings["comparison"]), conclusions.pattern
    named = {subject for firing in conclusions.urgency.firings for subject in firing.subjects.tolist()}
    yield own, "an urgent rule", urgent_followed(assessment, findings), [subject in named for subject in own.tolist()]
