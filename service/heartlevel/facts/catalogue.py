"""The catalogue of facts: everything a rule may refer to, with unit, scope, formula and meaning.

A fact is either recorded (a field of the request that says so) or derived: a function decorated with `fact`, whose
docstring is its meaning, or an expression entered with `derived`. Rule checks, `/v1/facts` and the documentation read
this catalogue; rule files may declare recorded facts of their own beside it (`catalogue_of`).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, TypeVar

from heartlevel.columns import Columns, Floats
from heartlevel.intake import recorded
from heartlevel.intake.own.facts import OwnFact
from heartlevel.vocabulary import PRESSURES, SCOPES

# The scopes whose facts a rule of a scope may use: its own, and the subject's.
RECORDED = "recorded"  # the formula of what is a field of the request
VISIBLE = {scope: (scope, "subject") for scope in SCOPES}
Derivation = Callable[[Columns[Any]], Floats]
Function = TypeVar("Function", bound=Derivation)


@dataclass(frozen=True, slots=True)
class Fact:
    """A named quantity of a scope. `formula` is `recorded` for a field of the request."""

    name: str
    scope: str
    kind: str  # number, flag or choice
    unit: str | None
    formula: str
    meaning: str
    names: tuple[str, ...] = ()
    low: float = -inf  # limits of what a request can record; derived facts have none
    high: float = inf
    share: bool = False  # part of a whole: never above 1
    asked: bool = True  # an answer lists it as undocumented where it is unknown

    def decoded(self, value: float) -> float | bool | str | None:
        """Return a column's value as it is written in a rule file or an answer; None if unknown."""
        if value != value:  # NaN is unknown
            return None
        if self.kind == "flag":
            return value == 1.0
        return self.names[int(value)] if self.kind == "choice" else float(value)

    def encoded(self, value: object) -> float:
        """Return a written value as it stands in a column. Raises TypeError or ValueError if it is of another kind."""
        if value is None:
            return float("nan")
        if self.kind == "choice":
            return float(self.names.index(value))
        if isinstance(value, bool) != (self.kind == "flag") or not isinstance(value, (bool, int, float)):
            raise TypeError(f"{self.name} is a {self.kind}")
        return float(value)


def recorded_fact(own: OwnFact) -> Fact:
    """Return a fact of one's own as rules see it."""
    return Fact(own.name, own.scope, own.kind, own.unit, RECORDED, own.meaning, own.names, own.low, own.high)


CATALOGUE: dict[str, Fact] = {}  # of the shipped facts
DERIVED: dict[str, dict[str, Derivation]] = {}


def _enter(fact: Fact) -> None:
    if fact.name in CATALOGUE:
        raise ValueError(f"two facts are called {fact.name}")
    CATALOGUE[fact.name] = fact


def fact(scope: str, formula: str, **about: Any) -> Callable[[Function], Function]:
    """Enter a function into the catalogue as a derived fact of its own name; `about` is what `derived` takes besides."""

    def entered(function: Function) -> Function:
        meaning = " ".join((function.__doc__ or "").split()).rstrip(".")
        derived(scope, function.__name__, formula, meaning, function, **about)
        return function

    return entered


def derived(
    scope: str, name: str, formula: str, meaning: str, derivation: Callable[..., Floats], *given: Any,
    unit: str | None = None, names: tuple[str, ...] = (), flag: bool = False, share: bool = False, asked: bool = True,
) -> None:  # fmt: skip
    """Enter a derived fact into the catalogue: what is said of it, and what its column is computed by.

    `derivation` takes the columns of the scope and what is `given`.
    """
    kind = "flag" if flag else "choice" if names else "number"
    _enter(Fact(name, scope, kind, unit, formula, meaning, names, share=share, asked=asked))
    DERIVED.setdefault(scope, {})[name] = (lambda facts: derivation(facts, *given)) if given else derivation


def derived_both(
    scope: str, name: str, formula: str, meaning: str, derivation: Callable[..., Floats], *given: Any, **about: Any
) -> None:
    """Enter a fact of each pressure, whose name stands in the place of `{}`; it is given to `derivation` first."""
    for pressure in PRESSURES:
        entered, computed_by, spoken = (text.replace("{}", pressure) for text in (name, formula, meaning))
        derived(scope, entered, computed_by, spoken[0].upper() + spoken[1:], derivation, pressure, *given, **about)


def catalogue_of(own: Sequence[OwnFact]) -> Mapping[str, Fact]:
    """Return the shipped facts, and facts of one's own beside them."""
    return CATALOGUE | {fact.name: recorded_fact(fact) for fact in own} if own else CATALOGUE


def _recorded() -> None:
    for scope, fields in (("subject", recorded.SUBJECT), ("reading", recorded.READING + recorded.DEVICE + recorded.LISTED)):
        for field in fields:
            _enter(Fact(field.fact, scope, field.kind, field.unit, RECORDED, field.meaning, field.names, field.low,
                        field.high))  # fmt: skip


_recorded()
