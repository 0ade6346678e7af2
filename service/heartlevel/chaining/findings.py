"""From facts to findings and reliability: what the rules' files say of each row of a scope, as rules of the engine."""

from collections.abc import Iterator, Sequence
from itertools import product
from math import isnan

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.intake.recorded import OF_READINGS
from heartlevel.kernels.arrays import Outcomes
from heartlevel.ruling.language.conditions import Mention, Term, shape_of
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.chains import Chained, NamedShape, follow
from heartlevel.ruling.running.truth import FALSE, TRUE, UNKNOWN
from heartlevel.vocabulary import EFFECTS, RELIABILITIES

Findings = list[dict[str, bool]]  # of each row: rules that fire and rules that are silent
DOCUMENTED = "documented"
OF_TECHNIQUE = tuple(field.fact for field in OF_READINGS if field.path[0] == "technique")


def findings_of_scope(assessment: Assessment, scope: str) -> Findings:
    """Return what the engine concludes of each row of a scope; the comparisons are read as the language means them."""
    rules = assessment.rules.rules[scope]
    terms = {term: f"term-{number}" for number, term in enumerate(_terms(rules))}
    chained = {rule.id: _named(rule, terms) for rule in rules}
    concluded = follow(chained, _compared(assessment, scope, terms))
    return [{name: value for name, value in row.items() if name in chained} for row in concluded]


def _terms(rules: Sequence[Rule]) -> Iterator[Term]:
    yield from dict.fromkeys(leaf for rule in rules for leaf in rule.leaves if isinstance(leaf, Term))


def _named(rule: Rule, terms: dict[Term, str]) -> NamedShape:
    names = [leaf.rule if isinstance(leaf, Mention) else terms[leaf] for leaf in rule.leaves]

    def named(shape: "int | list[object]") -> NamedShape:
        return names[shape] if isinstance(shape, int) else (shape[0], *map(named, shape[1:]))  # type: ignore[arg-type]

    return named(shape_of(rule.condition, rule.leaves))


def _compared(assessment: Assessment, scope: str, terms: dict[Term, str]) -> list[dict[str, bool]]:
    columns = assessment.facts[scope]
    values = {name: columns[name].tolist() for name in {term.fact.name for term in terms}}
    limits = [
        assessment.rules.limits(guideline.id, protocol.id)
        for guideline, protocol in zip(assessment.guidelines, assessment.protocols, strict=True)
    ]
    compared = []
    for row, subject in enumerate(columns.subject_of.tolist()):
        facts = {name: None if isnan(column[row]) else column[row] for name, column in values.items()}
        outcomes = {name: verdict(term, facts, limits[subject], {}) for term, name in terms.items()}
        compared.append({name: outcome for name, outcome in outcomes.items() if outcome is not None})
    return compared


def as_outcomes(findings: Findings, rules: Sequence[Rule]) -> Outcomes:
    """Return findings as the columns have them: a row a rule, a column a row of the scope."""
    outcomes = np.full((len(rules), len(findings)), UNKNOWN, dtype=np.int8)
    for (number, rule), (column, row) in product(enumerate(rules), enumerate(findings)):
        if rule.id in row:
            outcomes[number, column] = TRUE if row[rule.id] else FALSE
    return outcomes


def firing_only(findings: dict[str, bool], rules: Sequence[Rule]) -> dict[str, bool]:
    """Return which rules fire and which do not: to what rests on findings, an unknown one is none."""
    return {rule.id: findings.get(rule.id, False) for rule in rules}


def reliabilities(assessment: Assessment, of_readings: Findings, of_sittings: Findings) -> list[int]:
    """Return each reading's reliability (in RELIABILITIES) as it follows from its own and its sitting's findings."""
    reading, sitting = (assessment.rules.rules[scope] for scope in ("reading", "sitting"))
    recorded = ~np.isnan(np.array([assessment.batch.readings[name] for name in OF_TECHNIQUE]))
    documented: list[bool] = recorded.any(axis=0).tolist()
    rows = [
        {**firing_only(own, reading), **firing_only(of_sittings[at_sitting], sitting), DOCUMENTED: noted}
        for own, at_sitting, noted in zip(of_readings, assessment.batch.sitting_of.tolist(), documented, strict=True)
    ]
    concluded = follow(_of_reliability(assessment.rules), rows)
    return [next(number for number, name in enumerate(RELIABILITIES) if row[name]) for row in concluded]


def _of_reliability(ruleset: RuleSet) -> Chained:
    rules = [*ruleset.rules["reading"], *ruleset.rules["sitting"]]
    by_effect = {effect: [rule.id for rule in rules if rule.effect_name == effect] for effect in EFFECTS}
    return {
        "unusable": ("any", *by_effect["unusable"]),
        "doubtful": ("all", ("any", *by_effect["doubtful"]), ("none", "unusable")),
        "sound": ("all", DOCUMENTED, ("none", "doubtful", "unusable")),
        "not-documented": ("none", DOCUMENTED, "doubtful", "unusable"),
    }
