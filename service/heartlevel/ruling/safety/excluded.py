"""Whether a rule of layers keeps a side from speaking for what its average is, and not for a fault."""

from collections.abc import Iterator

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.truth import TRUE
from heartlevel.ruling.safety.places import place_of_condition
from heartlevel.ruling.safety.proof import in_words
from heartlevel.ruling.tools.reach import TooManyCombinations, distinct_terms, members_of, reached
from heartlevel.vocabulary import MMHG

SIDES = ("home", "office", "ambulatory")
OTHERWISE = ("device", "minus", "apart", "first")  # in the names of pressures that tell of faults
# Facts of the series that are averages of sides.
AVERAGES = frozenset(
    name
    for name, fact in CATALOGUE.items()
    if fact.scope == "series"
    and fact.unit == MMHG
    and name.startswith(SIDES)
    and not any(word in name for word in OTHERWISE)
)
# Where only these are known, nothing is known to be wrong.
HARMLESS = AVERAGES | {
    name
    for name, fact in CATALOGUE.items()
    if fact.scope == "series" and name.startswith(SIDES) and name.endswith(("_readings", "_days", "_enough_for_protocol"))
} | {"age_years", "pregnant", "days_since_birth"}  # fmt: skip


def excluded_for_values(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault]:
    """Yield each rule of the series that layers add or change and that excludes a side for its average alone."""
    known = {rule.id: rule for rule in base.rules["series"]}
    for rule in laid.rules["series"]:
        excludes = any(consequence.does == "excludes" for consequence in rule.consequences)
        if excludes and rule.is_changed(known.get(rule.id)) and _compares_averages(laid, rule):
            yield from _for_values(laid, rule)


def _compares_averages(laid: RuleSet, rule: Rule) -> bool:
    return any(term.fact.name in AVERAGES for term in distinct_terms(members_of(laid, [rule])))


def _for_values(laid: RuleSet, rule: Rule) -> Iterator[RuleFault]:
    profile = (laid.default_guideline, laid.guidelines[laid.default_guideline].protocol)
    try:
        cases = [case for case in reached(laid, [rule], profile) if case.outcomes == (TRUE,)]
    except TooManyCombinations as many:
        detail = f"that it excludes no side for its average cannot be shown: {many.count} combinations of facts"
        entry, at = place_of_condition(laid, rule)
        yield entry.fault(at, "value-unusable", detail)
        return
    alone = [case for case in cases if case.facts.keys() <= HARMLESS]
    if alone:
        patient = in_words(min(alone, key=lambda case: case.cost), laid)
        detail = f"keeps a side from speaking of which nothing is known but {patient}"
        yield rule.entry.fault(("consequence",), "value-unusable", detail)
