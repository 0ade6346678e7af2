"""Which outcomes some rules of a scope can reach together, by exhaustion, each with its simplest facts.

The comparisons of a fact cut its values into cells; one value stands for each cell, one more for unknown. All
combinations of the cells of all facts the rules use, those of the rules they mention included, go through the
compiled rules. Facts come in rule by rule. Once a rule is decided, combinations that differ in nothing that a
later rule looks at (outcomes mentioned, facts compared) are alike for good, and only the cheapest is kept.

Facts are combined freely, also where one follows from others (a pulse pressure from two pressures). What cannot
be reached here can therefore never happen; what can be reached may still be impossible.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from heartlevel.columns import TOLERANCE, Floats, Ints
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language import Limit, Mention, Term
from heartlevel.ruling.ruleset import Rule, RuleSet
from heartlevel.ruling.verdicts import Outcomes, Program

Profile = tuple[str, str]  # guideline, protocol
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
    found = {rule.id: rule for rule in asked}
    waiting = list(asked)
    while waiting:
        names = [leaf.rule for leaf in waiting.pop().leaves if isinstance(leaf, Mention) and leaf.rule not in found]
        found |= {name: scope[name] for name in names}
        waiting += [scope[name] for name in names]
    in_order = [found[name] for name in scope if name in found]
    return (*in_order, *(rule for rule in asked if rule.id not in scope))


def terms_of(rules: Sequence[Rule]) -> tuple[Term, ...]:
    """Return the distinct comparisons of some rules."""
    return tuple(dict.fromkeys(leaf for rule in rules for leaf in rule.leaves if isinstance(leaf, Term)))


def probes_of(rule: Rule) -> tuple[Rule, ...]:
    """Return one rule for each leaf of a rule that only says what the leaf says."""
    return tuple(
        replace(rule, id=f"{rule.id}/{place}", condition=leaf, leaves=(leaf,)) for place, leaf in enumerate(rule.leaves)
    )


def narrowed(ruleset: RuleSet, members: Sequence[Rule], profile: Profile) -> Program:
    """Compile some rules of a scope alone, for one profile; their tables are those filled at loading."""
    guideline, protocol = profile
    scope = members[0].scope
    alone = replace(
        ruleset,
        rules={scope: tuple(members)},
        guidelines={guideline: ruleset.guidelines[guideline]},
        protocols={protocol: ruleset.protocols[protocol]},
    )
    return Program(alone, scope)


def reached(ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int = MOST_COMBINATIONS) -> list[Reached]:
    """Return everything the rules asked about reach together. Raises TooManyCombinations."""
    return _Search(ruleset, asked, profile, most).run()


class _Search:
    """The combinations of some rules under one profile, cheapest of each kind."""

    def __init__(self, ruleset: RuleSet, asked: Sequence[Rule], profile: Profile, most: int) -> None:
        self.members, self.most = members_of(ruleset, asked), most
        self.program = narrowed(ruleset, self.members, profile)
        self.asked = [self.members.index(rule) for rule in asked]
        limits = ruleset.limits(*profile)
        terms = terms_of(self.members)
        self.facts = {term.fact.name: term.fact for term in terms}
        self.cells = {
            name: np.array([np.nan, *cells_of(fact, [one for one in terms if one.fact == fact], limits)])
            for name, fact in self.facts.items()
        }
        self.costs = {name: np.array([_cost(fact, value) for value in self.cells[name]])
                      for name, fact in self.facts.items()}  # fmt: skip
        self.uses = [tuple(dict.fromkeys(term.fact.name for term in terms_of([one]))) for one in self.members]
        self.places: dict[str, Ints] = {}  # fact -> which of its cells, a combination a column
        self.cost: Floats = np.zeros(1)

    def run(self) -> list[Reached]:
        for place, names in enumerate(self.uses):
            for name in names:
                self._combine_with(name)
            outcomes = self._keep_cheapest(place, self._judged())
        return [self._reached(column, outcomes) for column in range(len(self.cost))]

    def _combine_with(self, name: str) -> None:
        if name in self.places:
            return
        before, cells = len(self.cost), len(self.cells[name])
        if before * cells > self.most:
            raise TooManyCombinations(before * cells)
        self.places = {known: np.repeat(column, cells) for known, column in self.places.items()}
        self.places[name] = np.tile(np.arange(cells), before)
        self.cost = np.repeat(self.cost, cells) + self.costs[name][self.places[name]]

    def _judged(self) -> Outcomes:
        size = len(self.cost)
        blocks = [slice(start, start + TOGETHER) for start in range(0, size, TOGETHER)]
        return np.concatenate([self._judged_block(block, min(TOGETHER, size - block.start)) for block in blocks], axis=1)

    def _judged_block(self, block: slice, rows: int) -> Outcomes:
        def column(name: str) -> Floats:
            return self.cells[name][self.places[name][block]] if name in self.places else np.full(rows, np.nan)

        return self.program.judge(column, np.zeros(rows, dtype=np.int64)).outcomes

    def _keep_cheapest(self, place: int, outcomes: Outcomes) -> Outcomes:
        """Drop all but the cheapest of the combinations that later rules, and whoever asked, cannot tell apart."""
        later = self.members[place + 1 :]
        mentioned = {leaf.rule for rule in later for leaf in rule.leaves if isinstance(leaf, Mention)}
        rules = [at for at in range(place + 1) if at in self.asked or self.members[at].id in mentioned]
        compared = {name for names in self.uses[place + 1 :] for name in names}
        keys = [*outcomes[rules], *(column for name, column in self.places.items() if name in compared), self._complete()]
        order = np.lexsort((self.cost, *keys))
        sorted_keys = np.stack(keys)[:, order]
        first = np.ones(len(order), dtype=np.bool_)
        first[1:] = (sorted_keys[:, 1:] != sorted_keys[:, :-1]).any(axis=0)
        kept = order[first]
        self.places = {name: column[kept] for name, column in self.places.items()}
        self.cost = self.cost[kept]
        return outcomes[:, kept]

    def _complete(self) -> Ints:
        complete = np.ones(len(self.cost), dtype=np.int64)
        for column in self.places.values():
            complete &= column != UNKNOWN_CELL
        return complete

    def _reached(self, column: int, outcomes: Outcomes) -> Reached:
        where = {name: int(places[column]) for name, places in self.places.items()}
        facts = {name: float(self.cells[name][cell]) for name, cell in where.items() if cell != UNKNOWN_CELL}
        in_order = {name: facts[name] for name in self.facts if name in facts}
        asked = tuple(int(outcomes[place, column]) for place in self.asked)
        return Reached(asked, len(facts) == len(where), in_order, float(self.cost[column]))


def cells_of(fact: Fact, terms: Sequence[Term], limits: Mapping[str, float]) -> list[float]:
    """Return one value for each cell into which comparisons cut a fact's values, unknown left out."""
    if fact.kind == "flag":
        return [0.0, 1.0]
    compared = {limits[one.name] if isinstance(one, Limit) else one
                for term in terms if term.operator != "known" for one in term.values}  # fmt: skip
    if fact.kind == "choice":
        others = [float(place) for place in range(len(fact.names)) if place not in compared]
        return sorted([*compared, *others[:1]])  # all names compared with nothing are alike
    return sorted(value for value in set(_numbers(sorted(compared), fact)) if fact.low <= value <= fact.high)


def _numbers(limits: Sequence[float], fact: Fact) -> Iterator[float]:
    """Yield the limits, a value on either side of all of them, and one between neighbours."""
    if not limits:
        yield simplest(max(fact.low, 0.0), min(fact.high, 100.0)) if fact.low < fact.high else fact.low
        return
    yield from limits
    for limit, away in ((limits[0], -1.0), (limits[-1], 1.0)):
        ends = sorted((limit, limit + away * 1.5 * _scale(limit)))
        low, high = max(ends[0], fact.low), min(ends[1], fact.high)
        if high - low > 4 * TOLERANCE:
            yield simplest(low, high, near=limit)
        yield low if away < 0 else high
    for below, above in pairwise(limits):
        if above - below > 4 * TOLERANCE:
            yield simplest(below, above)
        else:  # hardly apart: their tolerances overlap, so every edge counts
            edges = [value + sign * TOLERANCE for value in (below, above) for sign in (-1, 1)]
            yield from (float(np.nextafter(edge, edge + side)) for edge in edges for side in (-1, 0, 1))


def _scale(limit: float) -> float:
    """Return the power of ten of a number: 100 for 130, 0.1 for 0.37."""
    return float(10.0 ** np.floor(np.log10(abs(limit)))) if limit else 1.0


def simplest(low: float, high: float, near: float | None = None) -> float:
    """Return the roundest number strictly between two, of these the one nearest to `near`, or to the middle."""
    target = (low + high) / 2 if near is None else near
    step = 1000.0
    while step > TOLERANCE:
        first, last = np.floor(low / step) + 1, np.ceil(high / step) - 1
        if first <= last:
            place = min(max(np.rint(target / step), first), last)
            value = float(f"{place * step:.12g}")
            if low + 2 * TOLERANCE < value < high - 2 * TOLERANCE:
                return value
        step /= 10
    return (low + high) / 2


def _cost(fact: Fact, value: float) -> float:
    """Return what recording a value costs: anything at all most, then every digit."""
    if np.isnan(value):
        return 0.0
    if fact.kind == "number":
        return RECORDED + len(f"{value:.12g}".strip("0-").replace(".", "")) + (value < 0)
    return RECORDED
