"""Why a rule fires or not: its condition as a tree of outcomes, values and plain sentences.

Numbers are rounded only as far as that leaves the outcome as it is.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import isnan
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import (
    ORDERED,
    Condition,
    Group,
    Limit,
    Mention,
    Parameter,
    Term,
    leaves_of,
)
from heartlevel.ruling.language.reference import Verdict, verdict
from heartlevel.ruling.language.rules import Rule

Tree: TypeAlias = dict[str, Any]
OUTCOMES: dict[Verdict, str] = {True: "true", False: "false", None: "unknown"}
KINDS = ("all", "any", "none", "comparison", "finding")
UNITS = {
    "1": "",
    "a": " years",
    "d": " days",
    "h": " h",
    "mm[Hg]": " mmHg",
    "Cel": " °C",
    "[degF]": " °F",
}  # UCUM codes that are not plain words
WORDS = {"below": "below {}", "at_most": "at most {}", "above": "above {}", "at_least": "at least {}",
         "between": "between {} and {}", "equals": "{}"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """What a condition is asked of: facts as coded in columns (None is unknown), limits, the scope's rules by id."""

    facts: Mapping[str, float | None]
    limits: Mapping[str, float]
    rules: Mapping[str, Rule]

    def outcome(self, term: Term, value: float | None) -> Verdict:
        """Return what a comparison says of a value."""
        return verdict(term, {term.fact.name: value}, self.limits, {})


def terms_of(condition: Condition, rules: Mapping[str, Rule]) -> Iterator[Term]:
    """Yield every comparison a condition rests on, those of the rules it mentions too."""
    for leaf in leaves_of(condition):
        yield from [leaf] if isinstance(leaf, Term) else terms_of(rules[leaf.rule].condition, rules)


def tree(condition: Condition, row: Row, findings: Mapping[str, Verdict]) -> Tree:
    """Return the condition's tree for a row; `findings` are the outcomes of the scope's rules there."""
    if isinstance(condition, Term):
        return _comparison(condition, row)
    outcome = {"outcome": OUTCOMES[verdict(condition, row.facts, row.limits, findings)]}
    return _branch(condition, row.rules, outcome, lambda part: tree(part, row, findings))


def outline(condition: Condition, limits: Mapping[str, float], rules: Mapping[str, Rule]) -> Tree:
    """Return the condition's tree without any row: what it asks for."""
    if isinstance(condition, Term):
        return {**_asked(condition, limits), "text": requirement(condition, limits)}
    return _branch(condition, rules, {}, lambda part: outline(part, limits, rules))


def _branch(
    condition: Group | Mention, rules: Mapping[str, Rule], outcome: Tree, part_of: Callable[[Condition], Tree]
) -> Tree:
    if isinstance(condition, Group):
        return {"kind": condition.kind, **outcome, "parts": [part_of(part) for part in condition.parts]}
    rule = rules[condition.rule]
    named = {"rule": rule.id, "title": rule.title}
    return {"kind": "finding", **outcome, **named, "parts": [part_of(rule.condition)]}


def _comparison(term: Term, row: Row) -> Tree:
    value = row.facts.get(term.fact.name)
    outcome = row.outcome(term, value)
    shown = rounded_alike(value, lambda rounded: row.outcome(term, rounded) == outcome)
    return {
        **_asked(term, row.limits),
        "outcome": OUTCOMES[outcome],
        "value": decoded(term.fact, shown),
        "text": _sentence(term, shown, outcome, row.limits),
    }


def _asked(term: Term, limits: Mapping[str, float]) -> Tree:
    fact = term.fact
    expected = [
        {"limit": value.name, "value": _published(limits[value.name])} if isinstance(value, Limit)
        else {"param": value.name, "value": float(value)} if isinstance(value, Parameter)
        else bool(value) if term.operator == "known" else decoded(fact, value)
        for value in term.values
    ]  # fmt: skip
    return {
        "kind": "comparison",
        "fact": fact.name,
        "meaning": fact.meaning,
        "unit": fact.unit,
        "operator": term.operator,
        "expected": expected if term.operator == "between" else expected[0],
    }


def _published(limit: float) -> float | None:
    return None if isnan(limit) else limit


def decoded(fact: Fact, value: float | None) -> Any:
    """Return a coded value as it is written in an answer; None stays None."""
    return None if value is None else fact.decoded(value)


def rounded_alike(value: float | None, same: Callable[[float], bool]) -> float | None:
    """Round to the fewest of 3, 6 or 9 decimals with which the value is still the `same`."""
    if value is None:
        return None
    return next((short for decimals in (3, 6, 9) if same(short := round(value, decimals) + 0.0)), value)


def spoken(fact: Fact, value: float | None) -> str:
    """Say a coded value in plain words."""
    plain = decoded(fact, value)
    if plain is None or isinstance(plain, bool):
        return {True: "yes", False: "no", None: "not recorded" if fact.formula == "recorded" else "not known"}[plain]
    return f"{plain:.15g}{unit_of(fact, plain)}" if isinstance(plain, float) else str(plain)


def unit_of(fact: Fact, number: float = 0) -> str:
    """Say a fact's unit in plain words, after a space; empty where it has none."""
    unit = UNITS.get(fact.unit or "1", f" {fact.unit}")
    return unit.removesuffix("s") if number == 1 else unit


def requirement(term: Term, limits: Mapping[str, float]) -> str:
    """Say what a comparison asks for: `systolic is at least 180 mmHg (limit severe.systolic)`."""
    if term.operator == "known":
        return _recorded(term.fact, bool(term.values[0]))
    return f"{term.fact.name} is {_expected(term, limits)}"


def _expected(term: Term, limits: Mapping[str, float]) -> str:
    values = [spoken(term.fact, figure) for figure in term.figures(limits)]
    named = [value.name for value in term.values if isinstance(value, Limit)]
    if any(isnan(limits[name]) for name in named):
        return f"compared with a limit that is not published ({', '.join(named)})"
    known = [value.name for value in term.values if isinstance(value, Parameter)]
    sources = [f"{kind} {', '.join(names)}" for kind, names in (("limit", named), ("parameter", known)) if names]
    return WORDS[term.operator].format(*values) + (f" ({'; '.join(sources)})" if sources else "")


def _recorded(fact: Fact, known: bool) -> str:
    words = "was {}recorded" if fact.formula == "recorded" else "is {}known"
    return f"{fact.name} {words.format('' if known else 'not ')}"


def _sentence(term: Term, value: float | None, outcome: Verdict, limits: Mapping[str, float]) -> str:
    fact = term.fact
    if value is None:
        return _recorded(fact, False)
    if term.operator == "known":
        return f"{_recorded(fact, True)}: {spoken(fact, value)}"
    measured = f"{fact.name} is {spoken(fact, value)}"
    if outcome is None:  # the value is known, so the limit is not
        return f"{measured}, {_expected(term, limits)}"
    if term.operator in ORDERED:
        return f"{measured}, which is {'' if outcome else 'not '}{_expected(term, limits)}"
    return measured if outcome else f"{measured}, not {_expected(term, limits)}"
