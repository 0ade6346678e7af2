"""The language of conditions: leaves that compare a fact with a value, combined by all, any and none.

A condition is three-valued: true, false, or unknown where a fact it needs is not recorded.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import Fact

GROUPS = ("all", "any", "none")
ORDERED = ("below", "at_most", "above", "at_least", "between")
OPERATORS = (*ORDERED, "equals", "one_of", "known")
# A condition of 8 leaves has 6,561 patterns; more would make loading slow, and such a rule is hard to read.
MOST_LEAVES = 8


@dataclass(frozen=True, slots=True)
class Limit:
    """A named limit of the guideline or protocol in use."""

    name: str


class Parameter(float):
    """A number that has a name in its rule, and is compared as any other."""

    name: str

    def __new__(cls, value: float, name: str) -> "Parameter":
        """Give a number its name."""
        named = super().__new__(cls, value)
        named.name = name
        return named

    def __reduce__(self) -> tuple[type["Parameter"], tuple[float, str]]:
        """Return what it is made of, to be made again in another process."""
        return Parameter, (float(self), self.name)


@dataclass(frozen=True, slots=True)
class Term:
    """One fact compared with one value, by an operator other than one_of."""

    fact: Fact
    operator: str
    values: tuple[float | Limit, ...]  # as coded in columns; two for between

    def figures(self, limits: Mapping[str, float]) -> tuple[float, ...]:
        """Return the values as plain numbers, those of limits looked up; NaN for one that is not published."""
        return tuple(limits[value.name] if isinstance(value, Limit) else float(value) for value in self.values)


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


def leaves_of(condition: Condition) -> tuple[Leaf, ...]:
    """Return the distinct leaves, in order of writing."""
    if isinstance(condition, Group):
        return tuple(dict.fromkeys(chain.from_iterable(map(leaves_of, condition.parts))))
    return (condition,)


def shape_of(condition: Condition, leaves: tuple[Leaf, ...]) -> Any:
    """Return the condition with each leaf replaced by its number: `[kind, part, ...]` or a number (see `engine`)."""
    if isinstance(condition, Group):
        return [condition.kind, *(shape_of(part, leaves) for part in condition.parts)]
    return leaves.index(condition)


def parameters_in(condition: Condition) -> frozenset[str]:
    """Return the names of the parameters that a condition compares facts with."""
    terms = (leaf for leaf in leaves_of(condition) if isinstance(leaf, Term))
    return frozenset(value.name for term in terms for value in term.values if isinstance(value, Parameter))
