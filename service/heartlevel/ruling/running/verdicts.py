"""Verdicts: every comparison of every rule as a column operation, then each rule looked up in its truth table.

The engine is not asked: its tables were filled when the rules were loaded. Each row of a scope (a reading, a sitting,
a person, a device check) gets an outcome for each rule.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import chain, pairwise, product

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.facts.catalogue import VISIBLE
from heartlevel.ruling.language.conditions import Leaf, Limit, Mention, Term, shape_of
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.intervals import interval, when_unknown
from heartlevel.ruling.running.lookups import Outcomes, looked_up, stratum_of
from heartlevel.ruling.running.truth import TRUE, UNKNOWN, truth_tables

# Above so many rows it is quicker to go rule by rule than to gather all rules' leaves at once.
MANY_ROWS = 512


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
        self._first_term_of = np.searchsorted(self._fact_of, np.arange(len(self.facts)))
        limits = [ruleset.limits(*pair) for pair in self.profiles]
        bounds = np.array([_intervals(term, limits) for term in self.terms], dtype=np.float64)
        bounds = bounds.reshape(len(self.terms), len(limits), 2)
        self._low, self._high = bounds[..., 0].copy(), bounds[..., 1].copy()
        self._unlimited = np.isnan(self._low) | np.isnan(self._high)
        self._ever_unlimited: list[bool] = np.any(self._unlimited, axis=1).tolist()
        self._any_unlimited = any(self._ever_unlimited)
        unknown = [when_unknown(term) for term in self.terms]
        self._when_unknown = np.array(unknown, dtype=np.int8).reshape(-1, 1)
        self.row_of = {rule.id: row for row, rule in enumerate(self.rules)}
        self._row_of_leaf: dict[Leaf, int] = {term: row for row, term in enumerate(self.terms)}
        self._row_of_leaf |= {Mention(name): len(self.terms) + row for name, row in self.row_of.items()}
        self._compile_tables()
        no_rows = np.zeros((len(self.terms), 0), dtype=np.int8)
        self._nothing = self._decided(no_rows, np.zeros(0, dtype=np.int64))

    def _compile_tables(self) -> None:
        shapes = [shape_of(rule.condition, rule.leaves) for rule in self.rules]
        tables = truth_tables(shapes)
        self._table = np.concatenate([*tables, np.zeros(0, dtype=np.int8)])
        offsets = np.cumsum([0, *map(len, tables)])[:-1]
        leaves = [[self._row_of_leaf[leaf] for leaf in rule.leaves] for rule in self.rules]
        self._strata = [stratum_of(members, leaves, offsets) for members in self._levels()]
        self._by_rule = [(row, leaves[row], tables[row]) for stratum in self._strata for row in stratum.rules.tolist()]
        self._by_id = {rule.id: (leaves[row], tables[row]) for row, rule in enumerate(self.rules)}
        self._users_of: list[list[int]] = [[] for _ in self.terms]  # of each term, the rules that compare it
        for rule, used in enumerate(leaves):
            for leaf in used:
                if leaf < len(self.terms):
                    self._users_of[leaf].append(rule)

    def _levels(self) -> list[Ints]:
        level: dict[str, int] = {}
        for rule in self.rules:  # those mentioned come first
            mentioned = [level[leaf.rule] for leaf in rule.leaves if isinstance(leaf, Mention)]
            level[rule.id] = 1 + max(mentioned, default=-1)
        levels = np.array(list(level.values()), dtype=np.int64)
        return [np.flatnonzero(levels == number) for number in range(levels.max(initial=-1) + 1)]

    def judge(self, column: Callable[[str], Floats], profile: Ints) -> Verdicts:
        """Judge every row of the scope. `column` gives a fact's column, `profile` each row's pair number."""
        if not len(profile):
            return self._nothing
        if len(profile) > MANY_ROWS:
            return self._decided_by_rule(self._compared_by_term(column, profile), profile)
        facts = np.array([column(name) for name in self.facts], dtype=np.float64).reshape(-1, len(profile))
        return self._decided(self._compared(facts, profile), profile)

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
        return np.where(undecided, self._when_unknown[term, 0], holds).astype(np.int64)

    def _compared(self, facts: Floats, profile: Ints) -> Outcomes:
        values = facts[self._fact_of]
        holds = (values >= self._low[:, profile]) & (values <= self._high[:, profile])
        undecided = np.isnan(values)
        if self._any_unlimited:
            undecided |= self._unlimited[:, profile]
        return np.where(undecided, self._when_unknown, holds.astype(np.int8))

    def _decided(self, compared: Outcomes, profile: Ints) -> Verdicts:
        """Look every rule up. Rules that mention others see these as decided here."""
        rows = compared.shape[1]
        leaves = np.zeros((len(self.terms) + len(self.rules), rows), dtype=np.int64)
        leaves[: len(self.terms)] = compared
        outcomes = np.zeros((len(self.rules), rows), dtype=np.int8)
        for stratum in self._strata:
            pattern = np.add.reduceat(leaves[stratum.leaves] * stratum.weights, stratum.first, axis=0)
            decided = self._table[stratum.offsets + pattern]
            outcomes[stratum.rules] = decided
            leaves[len(self.terms) + stratum.rules] = decided
        return Verdicts(self.rules, outcomes, partial(self._wanting, compared, outcomes, profile))

    def _compared_by_term(self, column: Callable[[str], Floats], profile: Ints) -> Outcomes:
        """Compare as `_compared` does, for many rows: term by term, and not at all where no value is known."""
        compared = np.empty((len(self.terms), len(profile)), dtype=np.int8)
        same = bool((profile == profile[0]).all())
        bounds = pairwise([*self._first_term_of.tolist(), len(self.terms)])
        for name, (start, stop) in zip(self.facts, bounds, strict=True):
            values = column(name)
            unknown = np.isnan(values).view(np.int8)
            if unknown.all():
                compared[start:stop] = self._when_unknown[start:stop]
                continue
            any_unknown = bool(unknown.any())
            for term in range(start, stop):
                low, high = (ends[term, profile[0] if same else profile] for ends in (self._low, self._high))
                holds = _within(values, low, high).view(np.int8)  # 0 where unknown, so that its outcome can be laid over
                compared[term] = holds | unknown * self._when_unknown[term, 0] if any_unknown else holds
                if self._ever_unlimited[term]:
                    compared[term][self._unlimited[term, profile]] = UNKNOWN
        return compared

    def _decided_by_rule(self, compared: Outcomes, profile: Ints) -> Verdicts:
        """Decide as `_decided` does, for many rows: each rule's own leaves only."""
        terms = len(self.terms)
        outcomes = np.zeros((len(self.rules), compared.shape[1]), dtype=np.int8)
        for row, leaves, table in self._by_rule:
            of_leaves = [compared[leaf] if leaf < terms else outcomes[leaf - terms] for leaf in leaves]
            outcomes[row] = looked_up(table, of_leaves)
        return Verdicts(self.rules, outcomes, partial(self._wanting, compared, outcomes, profile))

    def _wanting(self, compared: Outcomes, outcomes: Outcomes, profile: Ints) -> dict[str, Bools]:
        """Return, for each fact, the rows where it is unknown and a rule that compares it is undecided.

        What is compared with a limit that is not published is not wanting: no fact would decide it.
        """
        unknown, undecided = compared == UNKNOWN, outcomes == UNKNOWN
        somewhere = set(np.any(undecided, axis=1).nonzero()[0].tolist())
        by_fact = np.zeros((len(self.facts), len(profile)), dtype=np.bool_)
        for term in np.any(unknown, axis=1).nonzero()[0].tolist():
            for rule in self._users_of[term]:
                if rule in somewhere:
                    by_fact[self._fact_of[term]] |= unknown[term] & undecided[rule] & self._limited(term, profile)
        return dict(zip(self.facts, by_fact, strict=True))

    def _limited(self, term: int, profile: Ints) -> Bools | bool:
        """Mark the rows in whose profile a term's limit is published."""
        return ~self._unlimited[term, profile] if self._ever_unlimited[term] else True


def _within(values: Floats, low: Floats, high: Floats) -> Bools:
    """Mark the values in closed intervals; of one that is open to a side, nothing is compared there."""
    if np.ndim(low) == 0 and high == np.inf and low > -np.inf:
        within: Bools = values >= low
    elif np.ndim(low) == 0 and low == -np.inf and high < np.inf:
        within = values <= high
    else:
        within = (values >= low) & (values <= high)
    return within


def _intervals(term: Term, limits: Sequence[Mapping[str, float]]) -> list[tuple[float, float]]:
    """Return the interval of values for which a comparison is true, under the limits of each profile."""
    if any(isinstance(value, Limit) for value in term.values):
        return [interval(term, named) for named in limits]
    return [interval(term, {})] * len(limits)


def programs_of(ruleset: RuleSet) -> dict[str, Program]:
    """Compile the rules of every scope; the engine is asked once, for the shapes of all of them."""
    truth_tables(shape_of(rule.condition, rule.leaves) for rule in ruleset.every_rule())
    return {scope: Program(ruleset, scope) for scope in VISIBLE}
