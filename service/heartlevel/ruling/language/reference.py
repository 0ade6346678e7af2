"""The meaning of conditions, written plainly: one condition, one row of facts. The engine must agree with it."""

from collections.abc import Mapping
from math import isnan

from heartlevel.columns import TOLERANCE
from heartlevel.ruling.language.conditions import Condition, Group, Limit, Mention, Term

Verdict = bool | None  # None is unknown


def verdict(
    condition: Condition,
    facts: Mapping[str, float | None],
    limits: Mapping[str, float],
    findings: Mapping[str, Verdict],
) -> Verdict:
    """Return whether the condition holds. Facts are coded as in columns; absent or None is unknown."""
    match condition:
        case Mention(rule):
            return findings[rule]
        case Term():
            return _compared(condition, facts.get(condition.fact.name), limits)
        case Group(kind, parts):
            verdicts = [verdict(part, facts, limits, findings) for part in parts]
            return _combined(kind, verdicts)


def _combined(kind: str, verdicts: list[Verdict]) -> Verdict:
    decisive = kind != "all"  # one false decides all; one true decides any and none
    if decisive in verdicts:
        return (kind == "any") if decisive else False
    if None in verdicts:
        return None
    return kind != "any"


def _compared(term: Term, value: float | None, limits: Mapping[str, float]) -> Verdict:
    if term.operator == "known":
        return (value is not None) == bool(term.values[0])
    if value is None:
        return None
    figures = [limits[value.name] if isinstance(value, Limit) else value for value in term.values]
    first, last = figures[0], figures[-1]
    if isnan(first) or isnan(last):  # a limit that the guideline does not publish
        return None
    match term.operator:
        case "below":
            return value < first - TOLERANCE
        case "at_least":
            return value >= first - TOLERANCE
        case "above":
            return value > first + TOLERANCE
        case "at_most":
            return value <= first + TOLERANCE
        case _:  # equals and between
            return first - TOLERANCE <= value <= last + TOLERANCE
