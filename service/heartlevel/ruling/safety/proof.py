"""Proof that what is urgent below layers is urgent under them: every urgent rule, for all facts that rules can tell apart.

A rule below is copied with the figures of its limits in place of their names, and judged together with the rule of the same
id under the layers (see `reach`). A case in which the copies fire and the rule does not is shown as a patient.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product
from math import inf

from heartlevel.ruling.language.conditions import Condition, Group, Limit, Mention, Term, leaves_of
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import TRUE
from heartlevel.ruling.safety.places import place_of_condition, place_of_limit
from heartlevel.ruling.tools.analysis import value_text
from heartlevel.ruling.tools.cells import ANY_VALUE, Ranges
from heartlevel.ruling.tools.reach import Reached, TooManyCombinations, members_of, reached

# A rule and those it mentions, each with its condition but for the values compared with; and all these values in figures.
Signature = tuple[tuple[tuple[str, Condition], ...], tuple[tuple[float, ...], ...]]


@dataclass(frozen=True, slots=True)
class ProfilePair:
    """A profile under layers, and the profiles below them whose limits it must be as strict as, all together."""

    laid: Profile
    below: tuple[Profile, ...]
    within: Ranges  # facts that are as they are for everybody whom the profile is used for


def less_urgent(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault]:
    """Yield a fault for each urgent rule that fires below and not under the layers for some facts, with such a patient."""
    pairs = list(_compared(base, laid))
    rules = {rule.id: rule for rule in laid.every_rule()}
    for rule in base.every_rule():
        if rule.urgent and rule.id in rules:
            yield from _weaker(base, laid, rule, rules[rule.id], pairs)


def _compared(base: RuleSet, laid: RuleSet) -> Iterator[ProfilePair]:
    """Yield every profile under the layers; what they add must name what every guideline below names."""
    protocols = [(name, [name] if name in base.protocols else list(base.protocols)) for name in laid.protocols]
    for name, guideline in laid.guidelines.items():
        before = [name] if name in base.guidelines else list(base.guidelines)
        of_pregnancy = list(dict.fromkeys(base.guidelines[other].in_pregnancy for other in before))
        # In pregnancy, and for so many days after birth, another guideline's limits hold than the one asked for.
        otherwise = {"pregnant": (0.0, 0.0), "days_since_birth": (guideline.after_birth_days + 1, inf)}
        uses = (name, before, otherwise), (guideline.in_pregnancy, of_pregnancy, ANY_VALUE)
        for (used, below, within), (protocol, others) in product(uses, protocols):
            yield ProfilePair((used, protocol), tuple(product(below, others)), within)


def _weaker(base: RuleSet, laid: RuleSet, rule: Rule, under: Rule, pairs: Iterable[ProfilePair]) -> Iterator[RuleFault]:
    """Yield at most one fault: one patient shows what is wrong, and profiles with the same figures are one case."""
    seen: set[tuple[Signature, tuple[Signature, ...], bool]] = set()
    signature_below, signature_laid = _signatures(base, rule), _signatures(laid, under)
    for pair in pairs:
        now, before = signature_laid(pair.laid), tuple(dict.fromkeys(map(signature_below, pair.below)))
        case = now, before, bool(pair.within)
        if now in before or case in seen:
            continue
        seen.add(case)
        fault = _judged(base, laid, (rule, under), pair)
        if fault is not None:
            yield fault
            return


def _judged(base: RuleSet, laid: RuleSet, rules: tuple[Rule, Rule], pair: ProfilePair) -> RuleFault | None:
    """Return a fault if a patient is missed by the rule, and by all others under the layers that are as urgent."""
    rule, under = rules
    try:
        missed = _missed(base, laid, rule, [under], pair)
        if missed:
            missed = _missed(base, laid, rule, [under, *_as_urgent(laid, under)], pair)
    except TooManyCombinations as many:
        entry, at = _blamed(base, laid, under, pair)
        detail = f"that '{rule.id}' stays as urgent cannot be shown: {many.count} combinations of facts"
        return entry.fault(at, "less-urgent", detail)
    if not missed:
        return None
    patient, (entry, at) = min(missed, key=lambda case: case.cost), _blamed(base, laid, under, pair)
    detail = (
        f"'{rule.id}' names this patient below the layer, and no longer under {pair.laid[0]}: {in_words(patient, laid)}"
    )
    return entry.fault(at, "less-urgent", detail)


def _missed(base: RuleSet, laid: RuleSet, rule: Rule, answering: Sequence[Rule], pair: ProfilePair) -> list[Reached]:
    """Return the cases in which a rule fires under all profiles below, and none of those that answer for it fires."""
    copies = [copied(base, rule, number, profile) for number, profile in enumerate(pair.below)]
    every = dict.fromkeys(member.id for member in members_of(laid, answering))
    under = [member for member in laid.rules[rule.scope] if member.id in every]
    together = laid.with_rules(rule.scope, [*(member for members in copies for member in members), *under])
    asked = [*(members[-1] for members in copies), *answering]
    cases = reached(together, asked, pair.laid, within=pair.within)
    below = len(copies)
    return [case for case in cases if set(case.outcomes[:below]) == {TRUE} and TRUE not in case.outcomes[below:]]


def _as_urgent(laid: RuleSet, rule: Rule) -> list[Rule]:
    """Return the other urgent rules of the same scope whose findings are at least as urgent."""
    assert rule.urgency is not None
    least = rule.urgency
    others = [(other, other.urgency) for other in laid.rules[rule.scope] if other.id != rule.id and other.urgency]
    return [
        other for other, urgency in others if urgency.level <= least.level and urgency.in_maternity <= least.in_maternity
    ]


def in_words(case: Reached, ruleset: RuleSet) -> str:
    """Return the facts of a case as a reader of rule files knows them."""
    facts = (f"{name} {value_text(ruleset.facts[name].decoded(value))}" for name, value in case.facts.items())
    return ", ".join(facts) or "nothing recorded"


def _blamed(base: RuleSet, laid: RuleSet, under: Rule, pair: ProfilePair) -> tuple[Entry, tuple[str | int, ...]]:
    """Return what a layer wrote that the difference comes from: a condition, else a limit."""
    before = {rule.id: rule.condition for rule in base.every_rule()}
    members = members_of(laid, [under])
    for member in members:
        if member.condition != before.get(member.id):
            return place_of_condition(laid, member)
    limits = laid.limits(*pair.laid)
    others = [base.limits(*profile) for profile in pair.below]
    values = [value for member in members for term in _terms(member) for value in term.values]
    named = [value.name for value in values if isinstance(value, Limit)]
    moved = [name for name in dict.fromkeys(named) if all(limits[name] != other[name] for other in others)]
    return place_of_limit(laid, pair.laid, (moved or named)[0]) if named else (under.entry, ("when",))


def _terms(rule: Rule) -> list[Term]:
    return [leaf for leaf in rule.leaves if isinstance(leaf, Term)]


def _signatures(ruleset: RuleSet, rule: Rule) -> Callable[[Profile], Signature]:
    """Return what tells the signature of a rule for each profile."""
    members = members_of(ruleset, [rule])
    without_figures = tuple((member.id, _bare(member.condition)) for member in members)
    terms = [term for member in members for term in _every_term(member.condition)]

    @cache
    def signature(profile: Profile) -> Signature:
        limits = ruleset.limits(*profile)
        return without_figures, tuple(term.figures(limits) for term in terms)

    return signature


def _every_term(condition: Condition) -> Iterator[Term]:
    """Yield the comparisons in order of writing, one that stands twice twice: each has its place in a bare condition."""
    if isinstance(condition, Group):
        for part in condition.parts:
            yield from _every_term(part)
    elif isinstance(condition, Term):
        yield condition


def _bare(condition: Condition) -> Condition:
    """Return a condition without the values that facts are compared with."""
    if isinstance(condition, Group):
        return Group(condition.kind, tuple(map(_bare, condition.parts)))
    return condition if isinstance(condition, Mention) else replace(condition, values=())


def copied(base: RuleSet, rule: Rule, number: int, profile: Profile) -> Sequence[Rule]:
    """Return a rule and all it mentions under names of their own, the limits in figures; the rule comes last."""
    return [_renamed(base, member, f"below-{number}/", profile) for member in members_of(base, [rule])]


def _renamed(base: RuleSet, rule: Rule, prefix: str, profile: Profile) -> Rule:
    condition = _in_figures(base, rule.condition, profile, prefix)
    return replace(rule, id=prefix + rule.id, condition=condition, leaves=leaves_of(condition))


def _in_figures(ruleset: RuleSet, condition: Condition, profile: Profile, prefix: str = "") -> Condition:
    """Return a condition with the figures of a profile in place of the names of limits, and names with a prefix."""
    if isinstance(condition, Group):
        parts = tuple(_in_figures(ruleset, part, profile, prefix) for part in condition.parts)
        return Group(condition.kind, parts)
    if isinstance(condition, Mention):
        return Mention(prefix + condition.rule)
    return replace(condition, values=condition.figures(ruleset.limits(*profile)))
