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
from itertools import pairwise

import numpy as np
import orjson

from heartlevel.columns import TOLERANCE, Bools, Floats, Ints
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import Leaf, Mention, Term, shape_of
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import truth_tables
from heartlevel.ruling.running.verdicts import Program

MOST_COMBINATIONS = 200_000
TOGETHER = 16_384  # combinations judged in one go: their columns stay in the processor's cache
UNKNOWN_CELL = 0
ANYWHERE = 100.0  # a value between this and its negative stands for all where nothing is compared
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


def reached(ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int = MOST_COMBINATIONS) -> list[Reached]:
    """Return everything the rules asked about reach together. Raises TooManyCombinations."""
    return _Search(ruleset, asked, profile, most).run()


class _Search:
    """The combinations of facts that rules can tell apart under one profile, the cheapest of each kind."""

    def __init__(self, ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int) -> None:
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
            name: np.array([np.nan, *cell_values(fact, [term for term in terms if term.fact == fact], limits)])
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


def cell_values(fact: Fact, terms: Sequence[Term], limits: Mapping[str, float]) -> list[float]:
    """Return one value for each cell into which comparisons cut a fact's values, unknown left out."""
    if fact.kind == "flag":
        return [0.0, 1.0]
    figures = [figure for term in terms if term.operator != "known" for figure in term.figures(limits)]
    compared = {figure for figure in figures if not np.isnan(figure)}  # a limit that is not published cuts nothing
    if fact.kind == "choice":
        others = [float(code) for code in range(len(fact.names)) if code not in compared]
        return sorted([*compared, *others[:1]])  # all names compared with nothing are alike
    return sorted(value for value in set(_numbers(sorted(compared), fact)) if fact.low <= value <= fact.high)


def _numbers(limits: Sequence[float], fact: Fact) -> Iterator[float]:
    """Yield the limits, a value on either side of all of them, and one between neighbours."""
    if not limits:
        yield from _between(-ANYWHERE, ANYWHERE, fact, 0.0)
        return
    yield from limits
    yield from _between(limits[0] - 1.5 * _scale(limits[0]), limits[0], fact, limits[0])
    yield from _between(limits[-1], limits[-1] + 1.5 * _scale(limits[-1]), fact, limits[-1])
    for below, above in pairwise(limits):
        if above - below > 4 * TOLERANCE:
            yield from _between(below, above, fact, (below + above) / 2)
        else:  # hardly apart: their tolerances overlap, so every edge counts
            edges = [value + sign * TOLERANCE for value in (below, above) for sign in (-1, 1)]
            yield from (float(np.nextafter(edge, edge + side)) for edge in edges for side in (-1, 0, 1))


def _between(below: float, above: float, fact: Fact, near: float) -> Iterator[float]:
    """Yield the simplest value strictly between two that a request can record, if there is one."""
    low, high = max(below, fact.low), min(above, fact.high)
    values = [bound for bound in (fact.low, fact.high) if below + 2 * TOLERANCE < bound < above - 2 * TOLERANCE]
    if high - low > 4 * TOLERANCE:
        values.append(simplest(low, high, near))
    yield from sorted(values, key=lambda value: (_digits(value), abs(value - near)))[:1]


def _scale(limit: float) -> float:
    """Return the power of ten of a number: 100 for 130, 0.1 for 0.37."""
    return float(10.0 ** np.floor(np.log10(abs(limit)))) if limit else 1.0


def simplest(low: float, high: float, near: float) -> float:
    """Return the roundest number strictly between two; of equally round ones the nearest to `near`."""
    step = _scale(high - low)
    while step > TOLERANCE:
        first, last = np.floor(low / step) + 1, np.ceil(high / step) - 1
        steps = min(max(np.rint(near / step), first), last)
        value = float(f"{steps * step:.12g}")
        if first <= last and low + 2 * TOLERANCE < value < high - 2 * TOLERANCE:
            return value
        step /= 10
    return (low + high) / 2


def _digits(value: float) -> int:
    """Count the signs a number is written with, zeros at its ends left out."""
    return max(len(f"{abs(value):.12g}".strip("0")), 1) + (value < 0)


def _cost(fact: Fact, value: float) -> float:
    """Return what recording a value costs: anything at all most, then every digit."""
    if np.isnan(value):
        return 0.0
    return RECORDED + (_digits(value) if fact.kind == "number" else 0)
