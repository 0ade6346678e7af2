"""Whether a rule whose thresholds or condition layers change can still fire: a number set by mistake can silence it."""

from collections.abc import Iterator

from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import TRUE
from heartlevel.ruling.safety.places import place_of_condition
from heartlevel.ruling.tools.reach import TooManyCombinations, reached


def never_firing(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault]:
    """Yield each rule below that can fire, and not with the condition that layers give it, whatever is recorded."""
    before = {rule.id: rule for rule in base.every_rule()}
    for rule in laid.every_rule():
        below = before.get(rule.id)
        if below is not None and rule.condition != below.condition and _can_fire(base, below) and not _can_fire(laid, rule):
            entry, at = place_of_condition(laid, rule)
            detail = f"'{rule.id}' can never fire any more: no value that can be recorded meets all its comparisons"
            yield entry.fault(at, "never-fires", detail)


def _can_fire(ruleset: RuleSet, rule: Rule) -> bool:
    profile: Profile = (ruleset.default_guideline, ruleset.guidelines[ruleset.default_guideline].protocol)
    try:
        return any(case.outcomes == (TRUE,) for case in reached(ruleset, [rule], profile))
    except TooManyCombinations:  # too many to be tried: `rules analyse` names it as not decided
        return True
