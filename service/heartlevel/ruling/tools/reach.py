"""Which outcomes the rules of a scope can reach together, by exhaustion, each with its simplest facts.

The comparisons of a fact cut its values into cells; one value stands for each cell, one more for unknown. All
combinations of the cells of all facts the rules use, those of the rules they mention included, go through the
compiled rules. Facts are combined one after the other. Of the combinations that no later fact can tell apart (after
one true part of an `any` the others do not matter), only the cheapest is kept.

Facts are combined freely, also where one follows from others (a pulse pressure from two pressures). What cannot
be reached here can therefore never happen; what can be reached may still be impossible.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import orjson

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import Leaf, Mention, Term, shape_of
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import truth_tables
from heartlevel.ruling.running.verdicts import Program
from heartlevel.ruling.tools.cells import ANY_VALUE, Ranges, cell_values, digits

MOST_COMBINATIONS = 200_000
TOGETHER = 16_384  # combinations judged in one go: their columns stay in the processor's cache
UNKNOWN_CELL = 0
RECORDED = 1_000.0  # cost of a recorded fact: far above what the digits of all values can add up to


class TooManyCombinations(Exception):
    """More combinations than are tried; `count` is how many there were when it was given up."""

    def __init__(self, count: int) -> None:
        """Keep the number."""
        super().__init__(f"{count} combinations")
        self.count = count


@dataclass(frozen=True, slots=True)
class Reached:
    """Outcomes that the rules asked about reach together, and the cheapest facts that lead there."""

    outcomes: tuple[int, ...]
    complete: bool  # every fact is recorded
    facts: Mapping[str, float]  # as coded in columns; what is absent is unknown
    cost: float


def members_of(ruleset: RuleSet, asked: Sequence[Rule]) -> tuple[Rule, ...]:
    """Return the rules asked about and all they mention, each after those it mentions."""
    scope = {rule.id: rule for rule in ruleset.rules[asked[0].scope]}
    members = {rule.id: rule for rule in asked}
    waiting = list(asked)
    while waiting:
        names = [leaf.rule for leaf in waiting.pop().leaves if isinstance(leaf, Mention) and leaf.rule not in members]
        members |= {name: scope[name] for name in names}
        waiting += [scope[name] for name in names]
    in_order = [members[name] for name in scope if name in members]
    return (*in_order, *(rule for rule in asked if rule.id not in scope))


def distinct_terms(rules: Sequence[Rule]) -> tuple[Term, ...]:
    """Return the distinct comparisons of rules."""
    return tuple(dict.fromkeys(leaf for rule in rules for leaf in rule.leaves if isinstance(leaf, Term)))


def probes(rule: Rule, leaves: Sequence[Leaf]) -> tuple[Rule, ...]:
    """Return, for each leaf, a rule that only says what that leaf says; `rule` lends the rest."""
    return tuple(
        replace(rule, id=f"{rule.id}/{index}", condition=leaf, leaves=(leaf,)) for index, leaf in enumerate(leaves)
    )


def reached(
    ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int = MOST_COMBINATIONS, within: Ranges = ANY_VALUE
) -> list[Reached]:
    """Return everything the rules asked about reach together, with facts that lie `within`. Raises TooManyCombinations."""
    return _Search(ruleset, asked, profile, most, within).run()


class _Search:
    """The combinations of facts that rules can tell apart under one profile, the cheapest of each kind."""

    def __init__(self, ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int, within: Ranges) -> None:
        self.members, self.most = members_of(ruleset, asked), most
        terms, limits = distinct_terms(self.members), ruleset.limits(*profile)
        rules = {asked[0].scope: (*self.members, *probes(asked[0], terms))}
        guidelines = {profile[0]: ruleset.guidelines[profile[0]]}
        protocols = {profile[1]: ruleset.protocols[profile[1]]}
        alone = replace(ruleset, rules=rules, guidelines=guidelines, protocols=protocols)
        self.program = Program(alone, asked[0].scope)
        names = [rule.id for rule in self.members]
        self.asked = [names.index(rule.id) for rule in asked]
        leaves: list[Leaf] = [*map(Mention, names), *terms]
        self.row_of = {leaf: row for row, leaf in enumerate(leaves)}
        self.facts = {term.fact.name: term.fact for term in terms}
        self.cells = {
            name: np.array([np.nan, *cell_values(fact, [term for term in terms if term.fact == fact], limits, within)])
            for name, fact in self.facts.items()
        }
        self.chosen: dict[str, Ints] = {}  # by fact, the index of its cell in each combination
        self.cost: Floats = np.zeros(1)

    def run(self) -> list[Reached]:
        outcomes = np.zeros((len(self.members), 1), dtype=np.int64)
        for name, fact in self.facts.items():
            self._combine_with(name, fact)
            outcomes = self._keep_cheapest(self._judged())
        return [self._reached(column, outcomes) for column in range(len(self.cost))]

    def _combine_with(self, name: str, fact: Fact) -> None:
        before, cells = len(self.cost), self.cells[name]
        if before * len(cells) > self.most:
            raise TooManyCombinations(before * len(cells))
        self.chosen = {known: np.repeat(column, len(cells)) for known, column in self.chosen.items()}
        self.chosen[name] = np.tile(np.arange(len(cells)), before)
        costs = np.array([_cost(fact, value) for value in cells])
        self.cost = np.repeat(self.cost, len(cells)) + costs[self.chosen[name]]

    def _judged(self) -> Ints:
        size = len(self.cost)
        blocks = [slice(start, min(start + TOGETHER, size)) for start in range(0, size, TOGETHER)]
        return np.concatenate([self._judged_block(block) for block in blocks], axis=1)

    def _judged_block(self, block: slice) -> Ints:
        rows = block.stop - block.start

        def column(name: str) -> Floats:
            return self.cells[name][self.chosen[name][block]] if name in self.chosen else np.full(rows, np.nan)

        return self.program.judge(column, np.zeros(rows, dtype=np.int64)).outcomes.astype(np.int64)

    def _keep_cheapest(self, outcomes: Ints) -> Ints:
        """Of the combinations that no fact still to come can tell apart, keep the cheapest."""
        keys = np.stack([self._complete(), *self._told_apart(outcomes)])
        order = np.lexsort((self.cost, *keys))
        in_order = keys[:, order]
        first = np.ones(len(order), dtype=np.bool_)
        first[1:] = (in_order[:, 1:] != in_order[:, :-1]).any(axis=0)
        kept = order[first]
        self.chosen = {name: column[kept] for name, column in self.chosen.items()}
        self.cost = self.cost[kept]
        return outcomes[:, kept]

    def _told_apart(self, outcomes: Ints) -> Iterator[Ints]:
        """Yield, for each rule, its outcome if that is settled and asked for, else what is left of its truth table."""
        settled: set[Leaf] = {leaf for leaf in self.row_of if isinstance(leaf, Term) and leaf.fact.name in self.chosen}
        for row, rule in enumerate(self.members):
            done = tuple(digit for digit, leaf in enumerate(rule.leaves) if leaf in settled)
            if len(done) == len(rule.leaves):
                settled.add(Mention(rule.id))
                if row in self.asked:
                    yield outcomes[row]
            elif done:
                pattern = sum(outcomes[self.row_of[rule.leaves[digit]]] * 3**power for power, digit in enumerate(done))
                yield _remainders(orjson.dumps(shape_of(rule.condition, rule.leaves)), done)[pattern]

    def _complete(self) -> Bools:
        complete: Bools = np.logical_and.reduce([column != UNKNOWN_CELL for column in self.chosen.values()])
        return complete

    def _reached(self, column: int, outcomes: Ints) -> Reached:
        cells = {name: int(chosen[column]) for name, chosen in self.chosen.items()}
        facts = {name: float(self.cells[name][cell]) for name, cell in cells.items() if cell != UNKNOWN_CELL}
        asked = tuple(int(outcomes[row, column]) for row in self.asked)
        return Reached(asked, len(facts) == len(cells), facts, float(self.cost[column]))


@lru_cache(maxsize=4096)
def _remainders(shape: bytes, done: tuple[int, ...]) -> Ints:
    """Number what is left of a shape's truth table for each pattern of the leaves that are done; equal rests are alike."""
    (table,) = truth_tables([orjson.loads(shape)])
    leaves = round(np.log(len(table)) / np.log(3))
    open_ = [digit for digit in range(leaves) if digit not in done]
    # Digits come least significant first, axes the other way round.
    axes = [leaves - 1 - digit for digit in (*reversed(done), *open_)]
    rows = table.reshape((3,) * leaves).transpose(axes).reshape(3 ** len(done), -1)
    return np.unique(rows, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def _cost(fact: Fact, value: float) -> float:
    """Return what recording a value costs: anything at all most, then every digit."""
    if np.isnan(value):
        return 0.0
    return RECORDED + (digits(value) if fact.kind == "number" else 0)
