"""What else a change of facts would bring about: none is told that leaves the person, or the measuring, worse off."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language.explaining import terms_of
from heartlevel.ruling.language.reference import Verdict, verdict
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import MMHG, SEVERITIES

Changes = Mapping[str, float | None]
# To measure less is never better, though a rule may fall silent for want of readings.
NEVER_FEWER = frozenset({
    "home_readings", "home_days", "home_sittings", "home_kept", "home_repeated_sittings", "home_circumstances_share",
    "office_readings", "office_days", "ambulatory_readings", "check_pairs", "days_on_treatment", "home_days_on_treatment",
    "office_unattended_readings", "office_unattended_days", "arms_apart_days", "sides_fit",
    "home_and_ambulatory_fit",
})  # fmt: skip
# Faults and gaps, and what a slip would have meant: more of them is never better.
NEVER_MORE = frozenset({
    "home_doubtful_share", "office_doubtful_share", "home_disagreeing_device_share", "selected_share",
    "home_office_days_apart", "home_longest_pause_days", "systolic_if_kpa", "diastolic_if_kpa", "systolic_if_cmhg",
    "diastolic_if_cmhg", "office_disagreeing_device_share", "home_unusable_share", "office_unusable_share",
    "home_lower_arm_share", "office_lower_arm_share", "office_side_raised", "outside_side_raised", "home_side_raised",
    "ambulatory_side_raised",
})  # fmt: skip
SERIES_PRESSURES = frozenset(name for name, fact in CATALOGUE.items() if fact.scope == "series" and fact.unit == MMHG)
# To have measured enough may bring a raised pressure to light, and is not the worse for it.
ENOUGH = frozenset({"home_enough_for_protocol", "office_enough_for_protocol", "ambulatory_enough_for_protocol"})
# Fewer is better only where nothing else is: one sitting can have too many.
RATHER_NOT_FEWER = frozenset({"sitting_readings"})


@dataclass(frozen=True)
class Consequences:
    """One rule that fires for one row, and all the rules of its scope, each after those it mentions."""

    rule: Rule
    rules: Mapping[str, Rule]
    facts: Mapping[str, float | None]  # all that the rules compare
    limits: Mapping[str, float]
    findings: Mapping[str, Verdict]

    def milder_findings(self, changes: Changes) -> int | None:
        """Count the findings milder than the rule's that changes of facts bring; None if the changes are for the worse."""
        if any(self._backwards(name, value) for name, value in changes.items()):
            return None
        new = [rule for rule in self._new(changes) if not rule.pattern]
        if any(map(self._as_grave, new)):
            return None
        return len(new) + sum(name in RATHER_NOT_FEWER and self._fewer(name, value) for name, value in changes.items())

    def _fewer(self, name: str, value: float | None) -> bool:
        now = self.facts[name]
        return value is not None and now is not None and value < now

    def _backwards(self, name: str, value: float | None) -> bool:
        """Say whether a change is worse by itself: fewer readings, more faults, a higher average of a series."""
        now = self.facts[name]
        if name in NEVER_FEWER | ENOUGH:
            return self._fewer(name, value)
        rises = value is not None and now is not None and value > now
        return rises and (name in NEVER_MORE or name in SERIES_PRESSURES)

    def _as_grave(self, other: Rule) -> bool:
        """Say whether another rule is as grave as this one; of two that say little and do nothing neither is."""
        mine, its = (-SEVERITIES.index(rule.severity) for rule in (self.rule, other))
        worse = other.urgent or its > mine or other.effect > self.rule.effect
        slight = mine == -SEVERITIES.index("low") and not self.rule.effect
        return worse or (its == mine and other.effect == self.rule.effect and not slight)

    def _new(self, changes: Changes) -> list[Rule]:
        """Return the rules that would fire and do not now."""
        changed = set(changes) - ENOUGH
        facts, findings = {**self.facts, **changes}, dict(self.findings)
        touched = [rule for rule in self.rules.values() if self._compared_by[rule.id] & changed]
        for rule in touched:
            findings[rule.id] = verdict(rule.condition, facts, self.limits, findings)
        return [rule for rule in touched if findings[rule.id] is True and self.findings[rule.id] is not True]

    @cached_property
    def _compared_by(self) -> dict[str, set[str]]:
        return {
            name: {term.fact.name for term in terms_of(rule.condition, self.rules)} for name, rule in self.rules.items()
        }
