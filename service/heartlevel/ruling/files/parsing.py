"""Conditions as they stand in rule files, read into the language; every mistake in one is named."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.facts.catalogue import Fact
from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.files.profile_schema import UNITS_OF_LIMITS
from heartlevel.ruling.files.source import DECIMAL_POINT, PLAIN_NUMBER, mapping
from heartlevel.ruling.language.conditions import (
    GROUPS,
    OPERATORS,
    ORDERED,
    Condition,
    Group,
    Limit,
    Mention,
    Parameter,
    Term,
)
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault

NAMED = ("limit", "param", "minus")  # what may stand in place of a number: a limit, a parameter, its negative
OTHERWISE_CALLED = {"and": "all", "or": "any", "not": "none"}


@dataclass(frozen=True, slots=True)
class ConditionParser:
    """Reads the condition of one rule; mistakes are added to `faults`."""

    entry: Entry  # of the rule
    catalogue: Mapping[str, Fact]  # all there are
    facts: Mapping[str, Fact]  # that rules of its scope may compare
    limits: frozenset[str]
    rules: frozenset[str]  # of its scope
    parameters: Mapping[str, Parameter]
    faults: list[RuleFault]

    def condition(self, data: Any, path: KeyPath) -> Condition | None:
        """Read what stands at a path within the rule; None if it has faults."""
        if not isinstance(data, dict) or len(data) != 1:
            wanted = "one of all, any, none, finding, or one fact"
            return self._fault(path, "not-a-condition", f"found {_seen(data)}; expected a mapping with {wanted}")
        ((key, inner),) = data.items()
        here = (*path, key)
        if key in GROUPS:
            return self._group(key, inner, here)
        if key == "finding":
            return self._mention(inner, here)
        return self._comparison(key, inner, here)

    def _fault(self, path: KeyPath, code: str, detail: str, hint: str | None = None) -> Condition | None:
        self.faults.append(self.entry.fault(path, code, detail, hint))
        return None

    def _group(self, kind: str, inner: Any, path: KeyPath) -> Condition | None:
        if not isinstance(inner, list) or not inner:
            return self._fault(path, "empty-group", f"{kind} takes a list of at least one condition")
        parts = [self.condition(part, (*path, index)) for index, part in enumerate(inner)]
        known = tuple(part for part in parts if part is not None)
        return Group(kind, known) if len(known) == len(parts) else None

    def _mention(self, rule: Any, path: KeyPath) -> Condition | None:
        if not isinstance(rule, str) or rule not in self.rules:
            hint = near(rule, sorted(self.rules))
            return self._fault(path, "unknown-finding", f"no rule of this scope has the id {abridged(rule)}", hint)
        return Mention(rule)

    def _comparison(self, name: str, inner: Any, path: KeyPath) -> Condition | None:
        fact = self.facts.get(name)
        if fact is None:
            group = OTHERWISE_CALLED.get(str(name).lower())
            hint = f"write `{group}`" if group else near(name, self.facts) or "GET /v1/facts lists them"
            known = f"is a fact of scope {self.catalogue[name].scope}" if name in self.catalogue else "is no fact"
            return self._fault(path, "unknown-fact", f"'{name}' {known}", hint)
        if not isinstance(inner, dict) or len(inner) != 1:
            broken = isinstance(inner, dict) and any(str(key).isdigit() for key in inner)
            detail = f"found {_seen(inner)}; expected one operator and value"
            return self._fault(path, "not-a-comparison", detail, DECIMAL_POINT if broken else None)
        ((operator, value),) = inner.items()
        here = (*path, operator)
        if operator not in OPERATORS:
            return self._fault(here, "unknown-operator", f"'{operator}' is no operator", near(operator, OPERATORS))
        if operator in ORDERED and fact.kind != "number":
            return self._fault(here, "wrong-operator", f"{name} is a {fact.kind}; {operator} is for numbers")
        return self._term(fact, operator, value, here)

    def _term(self, fact: Fact, operator: str, value: Any, path: KeyPath) -> Condition | None:
        if operator == "known":
            if not isinstance(value, bool):
                return self._fault(path, "wrong-value", f"known takes true or false, not {abridged(value)}")
            return Term(fact, operator, (float(value),))
        if operator in ("one_of", "between"):
            return self._with_list(fact, operator, value, path)
        coded = self._coded(fact, value, path)
        return None if coded is None else Term(fact, operator, (coded,))

    def _with_list(self, fact: Fact, operator: str, values: Any, path: KeyPath) -> Condition | None:
        wanted = "a list [low, high]" if operator == "between" else "a list of at least one value"
        if not isinstance(values, list) or not values or (operator == "between" and len(values) != 2):
            return self._fault(path, "wrong-value", f"{operator} takes {wanted}, not {abridged(values)}")
        coded = [self._coded(fact, value, (*path, index)) for index, value in enumerate(values)]
        known = tuple(value for value in coded if value is not None)
        if len(known) < len(coded):
            return None
        if operator == "one_of":
            return Group("any", tuple(Term(fact, "equals", (value,)) for value in known))
        low, high = known
        if isinstance(low, float) and isinstance(high, float) and low > high:
            detail = f"between takes the lower value first, not {low:g} before {high:g}"
            return self._fault(self._changed(known) or path, "wrong-value", detail)
        return Term(fact, operator, known)

    def _changed(self, values: Collection[float | Limit]) -> KeyPath | None:
        """Return where a layer sets a parameter that is among the values."""
        names = [value.name for value in values if isinstance(value, Parameter)]
        return next((("parameters", name) for name in names if self.entry.sets("parameters", name)), None)

    def _coded(self, fact: Fact, value: Any, path: KeyPath) -> float | Limit | None:
        if isinstance(value, Mapping):
            return self._named(fact, value, path)
        try:
            if value is None:
                raise TypeError
            coded = fact.encoded(value)
        except TypeError:
            detail = f"{fact.name} is a {fact.kind}; found {abridged(value)}"
            self._fault(path, "wrong-value", detail, self._plain(fact, value))
            return None
        except ValueError:
            wanted = ", ".join(fact.names)
            self._fault(path, "wrong-value", f"{abridged(value)} is none of {wanted}", near(value, fact.names))
            return None
        if fact.share and coded > 1:
            detail = f"{fact.name} is a share, at most 1; found {abridged(value)}"
            self._fault(path, "out-of-range", detail, "50 % is written 0.5")
            return None
        if fact.kind != "number" or fact.low <= coded <= fact.high:
            return coded
        detail = f"{fact.name} is recorded from {fact.low:g} to {fact.high:g} {fact.unit}; found {abridged(value)}"
        self._fault(path, "out-of-range", detail)
        return None

    def _plain(self, fact: Fact, value: object) -> str | None:
        """Say how a text in place of a number or a flag was meant to be written."""
        if not isinstance(value, str):
            return None
        if value in self.limits:
            return f"write {{limit: {value}}}"
        return {"number": PLAIN_NUMBER, "flag": "true or false, without quotes"}.get(fact.kind)

    def _named(self, fact: Fact, value: Mapping[str, Any], path: KeyPath) -> float | Limit | None:
        """Read a mapping of one kind of name to a name."""
        kind, name = next(iter(value.items()), (None, None))
        if len(value) != 1 or kind not in NAMED or not isinstance(name, str):
            wanted = "a value, {limit: name}, {param: name} or {minus: name}"
            self._fault(path, "wrong-value", f"found {_seen(value)}; expected {wanted}", near(kind, NAMED))
            return None
        return self._limit(fact, name, path) if kind == "limit" else self._parameter(fact, kind, name, path)

    def _parameter(self, fact: Fact, kind: str, name: str, path: KeyPath) -> Parameter | None:
        if name not in self.parameters:
            if mapping(self.entry.item, "parameters").get(name) is None:  # else its mistake is named there
                hint = near(name, self.parameters) or f"name it: `parameters: {{{name}: ...}}`"
                self._fault(path, "unknown-parameter", f"the rule has no parameter '{name}'", hint)
            return None
        if fact.kind != "number":
            self._fault(path, "wrong-value", f"{fact.name} is a {fact.kind}; a parameter is a number")
            return None
        value = self.parameters[name] if kind == "param" else Parameter(-self.parameters[name], name)
        coded = self._coded(fact, float(value), ("parameters", name))
        return None if coded is None else value

    def _limit(self, fact: Fact, name: str, path: KeyPath) -> Limit | None:
        if fact.kind != "number":
            self._fault(path, "wrong-value", f"{fact.name} is a {fact.kind}; a limit is a number")
        elif name not in self.limits:
            detail = f"'{name}' is not a limit of every guideline or of every protocol"
            self._fault(path, "unknown-limit", detail, near_limit(name, self.limits))
        elif UNITS_OF_LIMITS.get(name, fact.unit) != fact.unit:
            detail = f"{fact.name} is in {fact.unit}, the limit {name} in {UNITS_OF_LIMITS[name]}"
            self._fault(path, "wrong-value", detail, "compare what has the same unit")
        else:
            return Limit(name)
        return None


def near_limit(name: str, limits: Collection[str]) -> str | None:
    """Suggest limits that have all parts of a dotted name, else those of the same place, else what is spelt alike."""
    wanted = name.split(".")
    same = [limit for limit in sorted(limits) if set(wanted) <= set(limit.split("."))]
    beside = [limit for limit in sorted(limits) if wanted[:1] == limit.split(".")[:1]]
    if len(same) == 1:
        return f"did you mean '{same[0]}'?"
    return near(name, same or beside or sorted(limits))


def _seen(data: Any) -> str:
    return f"{len(data)} keys ({', '.join(map(str, data))})" if isinstance(data, dict) and data else abridged(data)
