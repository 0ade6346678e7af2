"""What is odd about a rule set, shown by exhaustion (see `reach`): rules that cannot fire, always fire, repeat or
contradict another. Every claim comes with the simplest facts that show it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import isnan

import numpy as np

from heartlevel.ruling.language.conditions import Leaf, Limit, Mention, Parameter, Term, shape_of
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import TRUE, truth_tables
from heartlevel.ruling.tools.reach import (
    MOST_COMBINATIONS,
    Reached,
    TooManyCombinations,
    distinct_terms,
    members_of,
    probes,
    reached,
)

NEVER, ALWAYS, IDENTICAL, CONTRADICTION = "never-fires", "always-fires", "identical", "contradiction"
IMPLIED, NOT_DECIDED = "implied", "not-decided"
KINDS = (NEVER, ALWAYS, IDENTICAL, CONTRADICTION, IMPLIED, NOT_DECIDED)  # the order of a report
Decoded = Mapping[str, float | bool | str | None]


@dataclass(frozen=True, slots=True)
class Claim:
    """One thing to know of a rule, or of two. `implied`: whenever `other` fires, `rule` fires."""

    kind: str
    rule: str
    other: str | None
    profiles: tuple[Profile, ...]  # guidelines and protocols it holds for
    facts: Decoded | None  # where it shows, under the first profile: the rules fire; what is absent is unknown
    detail: str
    only_rule: Decoded | None = None  # of an implied rule: facts where it fires and the other does not


def analyse(ruleset: RuleSet, most: int = MOST_COMBINATIONS) -> list[Claim]:
    """Return all claims about a rule set, in order of kind and name; beyond `most` combinations nothing is decided."""
    shapes = [shape_of(rule.condition, rule.leaves) for rule in ruleset.every_rule()]
    truth_tables([*shapes, 0])  # the engine is asked once; 0 is the shape of a probe
    claims: list[Claim] = []
    for rules in ruleset.rules.values():
        facts = {rule.id: {term.fact.name for term in distinct_terms(members_of(ruleset, [rule]))} for rule in rules}
        for rule in rules:
            claims += _each_profile(ruleset, (rule,), most)
        for pair in combinations(sorted(rules, key=lambda rule: rule.id), 2):
            if facts[pair[0].id] & facts[pair[1].id]:
                claims += _each_profile(ruleset, pair, most)
    return sorted(
        _merged(claims), key=lambda claim: (KINDS.index(claim.kind), claim.rule, claim.other or "", claim.profiles)
    )


def worded(leaf: Leaf, limits: Mapping[str, float]) -> str:
    """Return a comparison or a mention in words, a limit with its figure."""
    if isinstance(leaf, Mention):
        return f"finding {leaf.rule}"
    if leaf.operator == "known":
        return f"{leaf.fact.name} {'recorded' if leaf.values[0] else 'not recorded'}"
    values = [_value(leaf, value, limits) for value in leaf.values]
    return f"{leaf.fact.name} {leaf.operator.replace('_', ' ')} {' and '.join(values)}"


def value_text(value: float | bool | str | None) -> str:
    """Return a decoded value as it is written in a rule file."""
    if value is None:
        return "not recorded"
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else f"{value:.12g}"


def _value(term: Term, value: float | Limit, limits: Mapping[str, float]) -> str:
    if isinstance(value, Limit):
        limit = limits[value.name]
        return f"{value.name} ({'none' if isnan(limit) else f'{limit:g}'})"
    figure = value_text(term.fact.decoded(value))
    return f"{value.name} ({figure})" if isinstance(value, Parameter) else figure


def _each_profile(ruleset: RuleSet, rules: Sequence[Rule], most: int) -> Iterator[Claim]:
    """Yield the claims about a rule or two; profiles that put the same figures into their terms are looked at once."""
    for profiles in _alike(ruleset, rules):
        try:
            reachable = reached(ruleset, rules, profiles[0], most)
        except TooManyCombinations as many:
            claims: Iterable[Claim] = [_not_decided(rules, many, most)]
        else:
            look = _Look(ruleset, profiles[0], most)
            claims = look.alone(rules[0], reachable) if len(rules) == 1 else look.together(rules[0], rules[1], reachable)
        yield from (replace(claim, profiles=profiles) for claim in claims)


def _alike(ruleset: RuleSet, rules: Sequence[Rule]) -> list[tuple[Profile, ...]]:
    """Group the profiles by the figures that they put into the comparisons of rules."""
    terms = distinct_terms(members_of(ruleset, rules))
    names = sorted({value.name for term in terms for value in term.values if isinstance(value, Limit)})
    groups: dict[tuple[float, ...], list[Profile]] = {}
    for profile in product(ruleset.guidelines, ruleset.protocols):
        limits = ruleset.limits(*profile) if names else {}
        figures = tuple(limits[name] for name in names)
        if not any(map(isnan, figures)):  # without the limit the rule is meant to be unknown
            groups.setdefault(figures, []).append(profile)
    return [tuple(group) for group in groups.values()]


def _not_decided(rules: Sequence[Rule], many: TooManyCombinations, most: int) -> Claim:
    detail = f"not decided: {many.count} combinations of facts, and at most {most} are tried"
    return Claim(NOT_DECIDED, rules[0].id, rules[1].id if len(rules) > 1 else None, (), None, detail)


@dataclass(frozen=True, slots=True)
class _Look:
    """A look at rules under one profile; the claims it yields leave their profiles open."""

    ruleset: RuleSet
    profile: Profile
    most: int

    def alone(self, rule: Rule, reachable: Sequence[Reached]) -> Iterator[Claim]:
        """Yield whether a rule never or always fires."""
        firing = [case for case in reachable if case.outcomes == (TRUE,)]
        if not firing:
            yield Claim(NEVER, rule.id, None, (), None, self._why_never(rule))
        elif len(firing) == len(reachable):
            yield Claim(ALWAYS, rule.id, None, (), self._simplest(firing), "it fires whatever is recorded")
        elif all(case.outcomes == (TRUE,) for case in reachable if case.complete) and any(
            term.operator != "known" for term in distinct_terms(members_of(self.ruleset, [rule]))
        ):  # it looks at values, not only at whether there are any
            example = self._simplest([case for case in firing if case.complete])
            yield Claim(ALWAYS, rule.id, None, (), example, "it fires whenever all it looks at is recorded")

    def together(self, rule: Rule, other: Rule, reachable: Sequence[Reached]) -> Iterator[Claim]:
        """Yield whether one rule fires whenever the other does, and whether both say opposite things at once."""
        both = [case for case in reachable if case.outcomes == (TRUE, TRUE)]
        if not both:
            return
        only_rule = [case for case in reachable if case.outcomes[0] == TRUE != case.outcomes[1]]
        only_other = [case for case in reachable if case.outcomes[1] == TRUE != case.outcomes[0]]
        example, built = self._simplest(both), self._built_on(rule, other)
        if not only_rule and not only_other:
            yield Claim(IDENTICAL, rule.id, other.id, (), example, "they fire together or not at all")
        elif not only_other:
            yield Claim(IMPLIED, rule.id, other.id, (), example, built, self._simplest(only_rule))
        elif not only_rule:
            yield Claim(IMPLIED, other.id, rule.id, (), example, built, self._simplest(only_other))
        against = "; ".join(_opposite_patterns(rule, other))
        if not against and self._one_cause(rule, other):
            against = "; ".join(_opposite_errors(rule, other))
        if against:
            yield Claim(CONTRADICTION, rule.id, other.id, (), example, against)

    def _simplest(self, cases: Sequence[Reached]) -> Decoded:
        best = min(cases, key=lambda case: case.cost)
        return {name: self.ruleset.facts[name].decoded(value) for name, value in best.facts.items()}

    def _built_on(self, rule: Rule, other: Rule) -> str:
        for upper, lower in ((rule, other), (other, rule)):
            if lower in members_of(self.ruleset, [upper]):
                return f"the condition of {upper.id} rests on {lower.id}"
        return ""

    def _one_cause(self, rule: Rule, other: Rule) -> bool:
        """Tell whether two rules judge the same thing, not only under the same condition (at home, at the wrist).

        They do if they compare a fact in different ways, or if one of them looks at nothing else than the other.
        """
        ours, theirs = (set(distinct_terms(members_of(self.ruleset, [asked]))) for asked in (rule, other))
        our_facts, their_facts = ({term.fact.name for term in terms} for terms in (ours, theirs))
        shared = our_facts & their_facts
        return any(term.fact.name in shared for term in ours ^ theirs) or shared in (our_facts, their_facts)

    def _why_never(self, rule: Rule) -> str:
        """Name the fewest parts of a condition whose outcomes never come together as it needs them."""
        try:
            seen = [case.outcomes for case in reached(self.ruleset, probes(rule, rule.leaves), self.profile, self.most)]
        except TooManyCombinations as many:
            return f"which comparisons exclude each other was not decided: {many.count} combinations"
        parts = _excluding(_firing_patterns(rule), seen, len(rule.leaves))
        if not parts:
            return "no outcome of its comparisons makes its condition true"
        limits = self.ruleset.limits(*self.profile)
        named = "; ".join(worded(rule.leaves[index], limits) for index in parts)
        return f"what its condition needs of these never comes together: {named}"


def _firing_patterns(rule: Rule) -> list[tuple[int, ...]]:
    """Return the outcomes of the leaves for which the rule's table says that it fires."""
    (table,) = truth_tables([shape_of(rule.condition, rule.leaves)])
    patterns = np.flatnonzero(table == TRUE).tolist()
    return [tuple(pattern // 3**digit % 3 for digit in range(len(rule.leaves))) for pattern in patterns]


def _excluding(needed: Sequence[tuple[int, ...]], seen: Sequence[tuple[int, ...]], leaves: int) -> tuple[int, ...]:
    """Return the fewest leaves whose outcomes are never seen together as they are needed."""
    for count in range(leaves + 1):
        for chosen in combinations(range(leaves), count):
            wanted = {tuple(outcomes[leaf] for leaf in chosen) for outcomes in needed}
            if wanted.isdisjoint(tuple(outcomes[leaf] for leaf in chosen) for outcomes in seen):
                return chosen
    raise ValueError("the rule can fire")


def _opposite_patterns(rule: Rule, other: Rule) -> Iterator[str]:
    if None not in (rule.pattern, other.pattern) and rule.pattern != other.pattern:
        yield f"{rule.id} names the pattern {rule.pattern}, {other.id} the pattern {other.pattern}"


def _opposite_errors(rule: Rule, other: Rule) -> Iterator[str]:
    for pressure in sorted(rule.expected_error.keys() & other.expected_error.keys()):
        directions = [errors[pressure].reads for errors in (rule.expected_error, other.expected_error)]
        if sorted(directions) == ["high", "low"]:
            yield f"{pressure} reads {directions[0]} by {rule.id}, {directions[1]} by {other.id}"


def _merged(claims: Iterable[Claim]) -> list[Claim]:
    """Join claims that are the same under several profiles; the first one's facts stay."""
    joined: dict[tuple[str, str, str | None, str], Claim] = {}
    for claim in claims:
        key = (claim.kind, claim.rule, claim.other, claim.detail)
        first = joined.setdefault(key, claim)
        if first is not claim:
            joined[key] = replace(first, profiles=first.profiles + claim.profiles)
    return list(joined.values())
