"""The language of conditions: leaves that compare a fact with a value, combined by all, any and none.

A condition is three-valued: true, false, or unknown where a fact it needs is not recorded.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.source import DECIMAL_POINT, PLAIN_NUMBER, Path_

GROUPS = ("all", "any", "none")
ORDERED = ("below", "at_most", "above", "at_least", "between")
OTHERWISE_CALLED = {"and": "all", "or": "any", "not": "none"}
OPERATORS = (*ORDERED, "equals", "one_of", "known")


@dataclass(frozen=True, slots=True)
class Limit:
    """A named limit of the guideline or protocol in use."""

    name: str


@dataclass(frozen=True, slots=True)
class Term:
    """One fact compared with one value, by an operator other than one_of."""

    fact: Fact
    operator: str
    values: tuple[float | Limit, ...]  # as coded in columns; two for between


@dataclass(frozen=True, slots=True)
class Mention:
    """Another rule of the same scope: true where that rule fires."""

    rule: str


@dataclass(frozen=True, slots=True)
class Group:
    """Parts combined by all, any or none."""

    kind: str
    parts: tuple["Condition", ...]


Leaf: TypeAlias = Term | Mention
Condition: TypeAlias = Leaf | Group


class ConditionFault(Exception):
    """A mistake in a condition, at a path below it."""

    def __init__(self, path: Path_, code: str, detail: str, hint: str | None = None) -> None:
        """Keep the parts of the message."""
        super().__init__(detail)
        self.path, self.code, self.detail, self.hint = path, code, detail, hint


def leaves_of(condition: Condition) -> tuple[Leaf, ...]:
    """Return the distinct leaves, in order of writing."""
    return tuple(dict.fromkeys(_walk(condition)))


def _walk(condition: Condition) -> Iterator[Leaf]:
    if isinstance(condition, Group):
        for part in condition.parts:
            yield from _walk(part)
    else:
        yield condition


def shape_of(condition: Condition, leaves: tuple[Leaf, ...]) -> Any:
    """Return the condition with each leaf replaced by its number (see `engine`)."""
    if isinstance(condition, Group):
        return [condition.kind, *(shape_of(part, leaves) for part in condition.parts)]
    return leaves.index(condition)


class Parser:
    """Reads the conditions of one scope, collecting all faults."""

    def __init__(self, scope: str, limits: frozenset[str], rules: frozenset[str]) -> None:
        """Take what a condition may name: facts of the scope, limits, rules of the scope."""
        self.facts = {name: fact for name, fact in CATALOGUE.items() if fact.scope in VISIBLE[scope]}
        self.limits, self.rules = limits, rules
        self.faults: list[ConditionFault] = []

    def condition(self, data: Any, path: Path_) -> Condition | None:
        """Read a condition; None if it has faults, which are then in `faults`."""
        if not isinstance(data, dict) or len(data) != 1:
            wanted = "one of all, any, none, finding, or one fact"
            return self._fault(path, "not-a-condition", f"found {self._seen(data)}; expected a mapping with {wanted}")
        ((key, inner),) = data.items()
        here = (*path, key)
        if key in GROUPS:
            return self._group(key, inner, here)
        if key == "finding":
            return self._mention(inner, here)
        return self._comparison(key, inner, here)

    def _seen(self, data: Any) -> str:
        return f"{len(data)} keys ({', '.join(map(str, data))})" if isinstance(data, dict) and data else abridged(data)

    def _fault(self, path: Path_, code: str, detail: str, hint: str | None = None) -> Condition | None:
        self.faults.append(ConditionFault(path, code, detail, hint))
        return None

    def _group(self, kind: str, inner: Any, path: Path_) -> Condition | None:
        if not isinstance(inner, list) or not inner:
            return self._fault(path, "empty-group", f"{kind} takes a list of at least one condition")
        parts = [self.condition(part, (*path, place)) for place, part in enumerate(inner)]
        return None if None in parts else Group(kind, tuple(parts))  # type: ignore[arg-type]

    def _mention(self, rule: Any, path: Path_) -> Condition | None:
        if not isinstance(rule, str) or rule not in self.rules:
            hint = near(rule, sorted(self.rules))
            return self._fault(path, "unknown-finding", f"no rule of this scope has the id {abridged(rule)}", hint)
        return Mention(rule)

    def _comparison(self, name: str, inner: Any, path: Path_) -> Condition | None:
        fact = self.facts.get(name)
        if fact is None:
            group = OTHERWISE_CALLED.get(str(name).lower())
            hint = f"write `{group}`" if group else near(name, self.facts) or "GET /v1/facts lists them"
            known = f"is a fact of scope {CATALOGUE[name].scope}" if name in CATALOGUE else "is no fact"
            return self._fault(path, "unknown-fact", f"'{name}' {known}", hint)
        if not isinstance(inner, dict) or len(inner) != 1:
            broken = isinstance(inner, dict) and any(str(key).isdigit() for key in inner)
            detail = f"found {self._seen(inner)}; expected one operator and value"
            return self._fault(path, "not-a-comparison", detail, DECIMAL_POINT if broken else None)
        ((operator, value),) = inner.items()
        here = (*path, operator)
        if operator not in OPERATORS:
            return self._fault(here, "unknown-operator", f"'{operator}' is no operator", near(operator, OPERATORS))
        if operator in ORDERED and fact.kind != "number":
            return self._fault(here, "wrong-operator", f"{name} is a {fact.kind}; {operator} is for numbers")
        return self._term(fact, operator, value, here)

    def _term(self, fact: Fact, operator: str, value: Any, path: Path_) -> Condition | None:
        if operator == "known":
            if not isinstance(value, bool):
                return self._fault(path, "wrong-value", f"known takes true or false, not {abridged(value)}")
            return Term(fact, operator, (float(value),))
        if operator in ("one_of", "between"):
            return self._several(fact, operator, value, path)
        coded = self._coded(fact, value, path)
        return None if coded is None else Term(fact, operator, (coded,))

    def _several(self, fact: Fact, operator: str, values: Any, path: Path_) -> Condition | None:
        wanted = "a list [low, high]" if operator == "between" else "a list of at least one value"
        if not isinstance(values, list) or not values or (operator == "between" and len(values) != 2):
            return self._fault(path, "wrong-value", f"{operator} takes {wanted}, not {abridged(values)}")
        coded = [self._coded(fact, value, (*path, place)) for place, value in enumerate(values)]
        if None in coded:
            return None
        known = tuple(value for value in coded if value is not None)
        if operator == "one_of":
            return Group("any", tuple(Term(fact, "equals", (value,)) for value in known))
        low, high = known
        if isinstance(low, float) and isinstance(high, float) and low > high:
            return self._fault(path, "wrong-value", f"between takes the lower value first, not {low:g} before {high:g}")
        return Term(fact, operator, known)

    def _coded(self, fact: Fact, value: Any, path: Path_) -> float | Limit | None:
        if isinstance(value, Mapping):
            return self._limit(fact, value, path)
        try:
            if value is None:
                raise TypeError
            coded = fact.encoded(value)
        except TypeError:
            detail = f"{fact.name} is a {fact.kind}; found {abridged(value)}"
            self._fault(path, "wrong-value", detail, self._plain(fact, value))
        except ValueError:
            wanted = ", ".join(fact.names)
            self._fault(path, "wrong-value", f"{abridged(value)} is none of {wanted}", near(value, fact.names))
        else:
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

    def _limit(self, fact: Fact, value: Mapping[str, Any], path: Path_) -> Limit | None:
        name = value.get("limit")
        if set(value) != {"limit"} or not isinstance(name, str):
            self._fault(path, "wrong-value", "found a mapping; expected a value or {limit: name}")
        elif fact.kind != "number":
            self._fault(path, "wrong-value", f"{fact.name} is a {fact.kind}; a limit is a number")
        elif name not in self.limits:
            detail = f"'{name}' is not a limit of every guideline or of every protocol"
            self._fault(path, "unknown-limit", detail, near(name, sorted(self.limits)))
        else:
            return Limit(name)
        return None
