"""Verdicts: every comparison of every rule as a column operation, then each rule looked up in its truth table.

The engine is not asked: its tables were filled when the rules were loaded. Each row of a scope (a reading, a sitting,
a person, a device check) gets an outcome for each rule.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import chain, product
from typing import Any

import numpy as np
import numpy.typing as npt

from heartlevel.columns import Bools, Floats, Ints, run_starts
from heartlevel.facts.catalogue import VISIBLE
from heartlevel.kernels import judging
from heartlevel.kernels.arrays import Outcomes
from heartlevel.ruling.language.conditions import Leaf, Limit, Mention, Term, shape_of
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.intervals import interval, when_unknown
from heartlevel.ruling.running.truth import TRUE, truth_tables


@dataclass(frozen=True)
class Verdicts:
    """Outcomes of all rules of a scope: a row a rule, a column a row of the scope; and of their comparisons."""

    rules: tuple[Rule, ...]
    outcomes: Outcomes  # FALSE, TRUE or UNKNOWN
    wanting: Callable[[], Mapping[str, Bools]]

    @cached_property
    def undecided(self) -> Mapping[str, Bools]:
        """For each fact the rows where a rule is unknown for want of it; worked out when first asked for."""
        return self.wanting()

    def fired(self) -> Bools:
        """Mark where each rule fires."""
        return self._fired

    @cached_property
    def _fired(self) -> Bools:
        fired: Bools = self.outcomes == TRUE
        return fired

    @cached_property
    def firing(self) -> Sequence[tuple[int, Rule, Bools]]:
        """The rules that fire somewhere: each with its row, and where it fires."""
        rows = np.any(self._fired, axis=1).nonzero()[0].tolist()
        return [(row, self.rules[row], self._fired[row]) for row in rows]


class Program:
    """The rules of one scope, compiled. `profiles` numbers every pair of guideline and protocol."""

    def __init__(self, ruleset: RuleSet, scope: str) -> None:
        """Compile; the engine fills the tables of shapes it has not been asked before."""
        self.rules = ruleset.rules[scope]
        self.profiles = {pair: number for number, pair in enumerate(product(ruleset.guidelines, ruleset.protocols))}
        terms = dict.fromkeys(leaf for rule in self.rules for leaf in rule.leaves if isinstance(leaf, Term))
        self.facts = tuple(dict.fromkeys(term.fact.name for term in terms))
        self._row_of_fact = {name: row for row, name in enumerate(self.facts)}
        # The terms of a fact stand together, so that their rows can be reduced in one step.
        self.terms = tuple(sorted(terms, key=lambda term: self._row_of_fact[term.fact.name]))
        self._fact_of = np.array([self._row_of_fact[term.fact.name] for term in self.terms], dtype=np.int64)
        self._first_term = np.searchsorted(self._fact_of, np.arange(1 + len(self.facts)))
        limits = [ruleset.limits(*pair) for pair in self.profiles]
        bounds = np.array([_intervals(term, limits) for term in self.terms], dtype=np.float64)
        bounds = bounds.reshape(len(self.terms), len(limits), 2)
        self._unlimited = np.isnan(bounds[..., 0]) | np.isnan(bounds[..., 1])
        self._low, self._high = (np.where(self._unlimited, np.nan, bounds[..., end]) for end in (0, 1))
        self._when_unknown = np.array([when_unknown(term) for term in self.terms], dtype=np.int8)
        self.row_of = {rule.id: row for row, rule in enumerate(self.rules)}
        self._row_of_leaf: dict[Leaf, int] = {term: row for row, term in enumerate(self.terms)}
        self._row_of_leaf |= {Mention(name): len(self.terms) + row for name, row in self.row_of.items()}
        self._compile_tables()

    def _compile_tables(self) -> None:
        shapes = [shape_of(rule.condition, rule.leaves) for rule in self.rules]
        tables = truth_tables(shapes)
        leaves = [[self._row_of_leaf[leaf] for leaf in rule.leaves] for rule in self.rules]
        self._tables, self._first_entry = _end_to_end(tables, np.int8)
        self._leaves, self._first_leaf = _end_to_end(leaves, np.int64)
        self._by_id = {rule.id: (leaves[row], tables[row]) for row, rule in enumerate(self.rules)}

    def judge(self, column: Callable[[str], Floats], profile: Ints) -> Verdicts:
        """Judge every row of the scope. `column` gives a fact's column, `profile` each row's pair number."""
        rows, terms = len(profile), len(self.terms)
        outcomes = np.zeros((terms + len(self.rules), rows), dtype=np.int8)
        if rows:
            same = np.empty(len(outcomes), dtype=np.int8)
            starts = np.concatenate([run_starts(profile).nonzero()[0], [rows]])
            judging.compare(
                [column(name) for name in self.facts], self._first_term, self._low, self._high, self._when_unknown,
                starts, profile[starts[:-1]], outcomes, same,
            )  # fmt: skip
            patterns = np.empty(rows, dtype=np.uint16)
            judging.decide(outcomes, terms, self._leaves, self._first_leaf, self._tables, self._first_entry, same, patterns)
        return Verdicts(self.rules, outcomes[terms:], partial(self._wanting, outcomes, profile))

    def judge_each(
        self, rules: Sequence[str], facts: Sequence[Mapping[str, float]], profile: Ints, firing: Sequence[Collection[str]]
    ) -> list[int]:
        """Judge one rule for each row of given facts, all in one go, and return the outcomes.

        `firing` has, for each row, the ids of the rules that fire where the rule mentions them; all others are silent.
        Only the rule's own comparisons are made, so that examples of ten times as many rules take ten times as long.
        """
        if not rules:
            return []
        used = [self._by_id[name][0] for name in rules]
        sizes = list(map(len, used))
        row, leaf = np.repeat(np.arange(len(rules)), sizes), np.array([*chain.from_iterable(used)], dtype=np.int64)
        mentioned = [{len(self.terms) + self.row_of[name] for name in names} for names in firing]
        outcome = np.array(
            [at in mentioned[number] for number, at in zip(row.tolist(), leaf.tolist(), strict=True)], dtype=np.int64
        )
        compared = leaf < len(self.terms)
        outcome[compared] = self._compared_each(facts, row[compared], leaf[compared], profile)
        digits = np.concatenate([np.arange(size, dtype=np.int64) for size in sizes])
        patterns = np.bincount(row, outcome * 3**digits, minlength=len(rules)).astype(np.int64)
        return [int(self._by_id[name][1][pattern]) for name, pattern in zip(rules, patterns.tolist(), strict=True)]

    def _compared_each(self, facts: Sequence[Mapping[str, float]], row: Ints, term: Ints, profile: Ints) -> Ints:
        """Return the outcomes of single comparisons, each of a row of given facts."""
        pairs = zip(row.tolist(), term.tolist(), strict=True)
        values = np.array([facts[at].get(self.terms[number].fact.name, np.nan) for at, number in pairs])
        under = profile[row]
        holds = (values >= self._low[term, under]) & (values <= self._high[term, under])
        undecided = np.isnan(values) | self._unlimited[term, under]
        return np.where(undecided, self._when_unknown[term], holds).astype(np.int64)

    def _wanting(self, outcomes: Outcomes, profile: Ints) -> dict[str, Bools]:
        """Return, for each fact, the rows where it is unknown and a rule that compares it is undecided."""
        wanting = np.zeros((len(self.facts), len(profile)), dtype=np.uint8)
        unlimited = self._unlimited.view(np.uint8)
        judging.mark_wanting(
            outcomes, len(self.terms), self._leaves, self._first_leaf, self._fact_of, unlimited, profile, wanting
        )
        return dict(zip(self.facts, wanting.view(np.bool_), strict=True))


def _end_to_end(parts: Sequence[Collection[int]], kind: type) -> tuple[npt.NDArray[Any], Ints]:
    """Lay parts end to end, and return where each begins, with their number at last."""
    return np.array([*chain.from_iterable(parts)], dtype=kind), np.cumsum([0, *map(len, parts)])


def _intervals(term: Term, limits: Sequence[Mapping[str, float]]) -> list[tuple[float, float]]:
    """Return the interval of values for which a comparison is true, under the limits of each profile."""
    if any(isinstance(value, Limit) for value in term.values):
        return [interval(term, named) for named in limits]
    return [interval(term, {})] * len(limits)


def programs_of(ruleset: RuleSet) -> dict[str, Program]:
    """Compile the rules of every scope; the engine is asked once, for the shapes of all of them."""
    truth_tables(shape_of(rule.condition, rule.leaves) for rule in ruleset.every_rule())
    return {scope: Program(ruleset, scope) for scope in VISIBLE}
