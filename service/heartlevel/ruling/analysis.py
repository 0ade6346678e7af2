"""What is odd about a rule set, found by exhaustion (see `reach`): rules that cannot fire, always fire, repeat or
contradict another. Every claim comes with the simplest facts that show it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import isnan

import numpy as np

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language import Leaf, Limit, Mention, Term, shape_of
from heartlevel.ruling.reach import (
    MOST_COMBINATIONS,
    Profile,
    Reached,
    TooManyCombinations,
    members_of,
    reached,
    terms_of,
)
from heartlevel.ruling.ruleset import Rule, RuleSet
from heartlevel.ruling.truth import TRUE, tables_of

NEVER, ALWAYS, IDENTICAL, CONTRADICTION = "never-fires", "always-fires", "identical", "contradiction"
IMPLIED, NOT_DECIDED = "implied", "not-decided"
KINDS = (NEVER, ALWAYS, IDENTICAL, CONTRADICTION, IMPLIED, NOT_DECIDED)  # the order of a report
Decoded = Mapping[str, float | bool | str | None]


@dataclass(frozen=True, slots=True)
class Claim:
    """One thing found. `implied`: whenever `other` fires, `rule` fires. The facts are for the first of the profiles."""

    kind: str
    rule: str
    other: str | None
    profiles: tuple[Profile, ...]  # guidelines and protocols it holds for
    facts: Decoded | None  # where it shows: both fire, or the rule fires; what is absent is unknown
    detail: str
    only_rule: Decoded | None = None  # of an implied rule: facts where it fires and the other does not


def analyse(ruleset: RuleSet, most: int = MOST_COMBINATIONS) -> list[Claim]:
    """Return all claims about a rule set, in order of kind and name; beyond `most` combinations nothing is decided."""
    shapes = [shape_of(rule.condition, rule.leaves) for rule in ruleset.every_rule()]
    tables_of([*shapes, 0])  # the engine is asked once; 0 is the shape of a probe
    found: list[Claim] = []
    for rules in ruleset.rules.values():
        members = {rule.id: members_of(ruleset, [rule]) for rule in rules}
        facts = {name: {term.fact.name for term in terms_of(several)} for name, several in members.items()}
        for rule in rules:
            found += _each_profile(ruleset, (rule,), most)
        for pair in combinations(sorted(rules, key=lambda one: one.id), 2):
            if facts[pair[0].id] & facts[pair[1].id]:
                found += _each_profile(ruleset, pair, most)
    return sorted(_merged(found), key=lambda one: (KINDS.index(one.kind), one.rule, one.other or "", one.profiles))


def probes_of(rule: Rule) -> tuple[Rule, ...]:
    """Return, for each part of a rule's condition, a rule that only says what that part says."""
    parts = enumerate(rule.leaves)
    return tuple(replace(rule, id=f"{rule.id}/{place}", condition=leaf, leaves=(leaf,)) for place, leaf in parts)


def worded(leaf: Leaf, limits: Mapping[str, float]) -> str:
    """Return a comparison or a mention in words, a limit with its figure."""
    if isinstance(leaf, Mention):
        return f"finding {leaf.rule}"
    if leaf.operator == "known":
        return f"{leaf.fact.name} {'recorded' if leaf.values[0] else 'not recorded'}"
    values = [_value(leaf, one, limits) for one in leaf.values]
    return f"{leaf.fact.name} {leaf.operator.replace('_', ' ')} {' and '.join(values)}"


def shown(value: float | bool | str | None) -> str:
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
    return shown(term.fact.decoded(value))


def _each_profile(ruleset: RuleSet, rules: Sequence[Rule], most: int) -> Iterator[Claim]:
    """Yield what holds of a rule or a pair; profiles that put the same figures into it are looked at once."""
    for profiles in _alike(ruleset, rules):
        try:
            found = reached(ruleset, rules, profiles[0], most)
        except TooManyCombinations as many:
            claims: Iterable[Claim] = [_not_decided(rules, many, most)]
        else:
            look = _Look(ruleset, profiles[0], most)
            claims = look.at_one(rules[0], found) if len(rules) == 1 else look.at_two(rules[0], rules[1], found)
        yield from (replace(claim, profiles=profiles) for claim in claims)


def _alike(ruleset: RuleSet, rules: Sequence[Rule]) -> list[tuple[Profile, ...]]:
    """Group the profiles by the figures that they put into the comparisons of some rules."""
    terms = terms_of(members_of(ruleset, rules))
    names = sorted({one.name for term in terms for one in term.values if isinstance(one, Limit)})
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

    def at_one(self, rule: Rule, found: Sequence[Reached]) -> Iterator[Claim]:
        """Yield whether a rule never or always fires."""
        firing = [one for one in found if one.outcomes == (TRUE,)]
        if not firing:
            yield Claim(NEVER, rule.id, None, (), None, self._why_never(rule))
        elif len(firing) == len(found):
            yield Claim(ALWAYS, rule.id, None, (), self._simplest(firing), "it fires whatever is recorded")
        elif _compares(self.ruleset, rule) and all(one.outcomes == (TRUE,) for one in found if one.complete):
            example = self._simplest([one for one in firing if one.complete])
            yield Claim(ALWAYS, rule.id, None, (), example, "it fires whenever all it looks at is recorded")

    def at_two(self, rule: Rule, other: Rule, found: Sequence[Reached]) -> Iterator[Claim]:
        """Yield whether one rule fires whenever the other does, and whether both say opposite things at once."""
        both = [one for one in found if one.outcomes == (TRUE, TRUE)]
        if not both:
            return
        only_rule = [one for one in found if one.outcomes[0] == TRUE != one.outcomes[1]]
        only_other = [one for one in found if one.outcomes[1] == TRUE != one.outcomes[0]]
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

    def _simplest(self, several: Sequence[Reached]) -> Decoded:
        best = min(several, key=lambda one: one.cost)
        return {name: CATALOGUE[name].decoded(value) for name, value in best.facts.items()}

    def _built_on(self, rule: Rule, other: Rule) -> str:
        for upper, lower in ((rule, other), (other, rule)):
            if lower in members_of(self.ruleset, [upper]):
                return f"the condition of {upper.id} rests on {lower.id}"
        return ""

    def _one_cause(self, rule: Rule, other: Rule) -> bool:
        """Tell whether two rules judge the same thing, not only under the same condition (at home, at the wrist).

        They do if they compare a fact in different ways, or if one of them looks at nothing else than the other.
        """
        ours, theirs = (set(terms_of(members_of(self.ruleset, [one]))) for one in (rule, other))
        our_facts, their_facts = ({term.fact.name for term in terms} for terms in (ours, theirs))
        shared = our_facts & their_facts
        return any(term.fact.name in shared for term in ours ^ theirs) or shared in (our_facts, their_facts)

    def _why_never(self, rule: Rule) -> str:
        """Name the fewest parts of a condition whose outcomes never come together as it needs them."""
        try:
            seen = [one.outcomes for one in reached(self.ruleset, probes_of(rule), self.profile, self.most)]
        except TooManyCombinations as many:
            return f"which comparisons exclude each other was not decided: {many.count} combinations"
        parts = _excluding(_firing_patterns(rule), seen, len(rule.leaves))
        if not parts:
            return "no outcome of its comparisons makes its condition true"
        limits = self.ruleset.limits(*self.profile)
        named = "; ".join(worded(rule.leaves[place], limits) for place in parts)
        return f"what its condition needs of these never comes together: {named}"


def _firing_patterns(rule: Rule) -> list[tuple[int, ...]]:
    """Return the outcomes of the leaves for which the rule's table says that it fires."""
    (table,) = tables_of([shape_of(rule.condition, rule.leaves)])
    places = [int(place) for place in np.flatnonzero(table == TRUE)]
    return [tuple(place // 3**digit % 3 for digit in range(len(rule.leaves))) for place in places]


def _excluding(needed: Sequence[tuple[int, ...]], seen: Sequence[tuple[int, ...]], leaves: int) -> tuple[int, ...]:
    """Return the fewest leaves of which no outcomes needed are ever seen together."""
    for count in range(leaves + 1):
        for chosen in combinations(range(leaves), count):
            wanted = {tuple(one[place] for place in chosen) for one in needed}
            if wanted.isdisjoint(tuple(one[place] for place in chosen) for one in seen):
                return chosen
    raise ValueError("the rule can fire")


def _compares(ruleset: RuleSet, rule: Rule) -> bool:
    """Tell whether a rule looks at values, not only at whether there are any."""
    return any(term.operator != "known" for term in terms_of(members_of(ruleset, [rule])))


def _opposite_patterns(rule: Rule, other: Rule) -> Iterator[str]:
    patterns = [one.pattern for one in (rule, other)]
    if None not in patterns and patterns[0] != patterns[1]:
        yield f"{rule.id} names the pattern {patterns[0]}, {other.id} the pattern {patterns[1]}"


def _opposite_errors(rule: Rule, other: Rule) -> Iterator[str]:
    ours, theirs = (one.expected_error for one in (rule, other))
    for pressure in sorted(ours.keys() & theirs.keys()):
        directions = [one[pressure].reads for one in (ours, theirs)]
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
