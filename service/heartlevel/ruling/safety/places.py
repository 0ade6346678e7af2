"""Where in rule files the figures of a loaded rule set stand."""

from heartlevel.ruling.language.conditions import parameters_in
from heartlevel.ruling.language.faults import Entry, KeyPath
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet

OF_PROTOCOL = "protocol."
PLAIN = ("adults_from_years", "after_birth_days")  # limits that stand at the top of a guideline


def place_of_limit(ruleset: RuleSet, profile: Profile, name: str) -> tuple[Entry, KeyPath]:
    """Return the guideline or protocol that a limit stands in, and where in it."""
    if name.startswith(OF_PROTOCOL):
        return ruleset.entries["protocol", profile[1]], tuple(name.removeprefix(OF_PROTOCOL).split("."))
    path = (name,) if name in PLAIN else ("limits", *name.split("."))
    return ruleset.entries["guideline", profile[0]], path


def place_of_condition(ruleset: RuleSet, rule: Rule) -> tuple[Entry, KeyPath]:
    """Return where a layer writes what a rule asks for: its condition, or a parameter that it compares with."""
    if rule.entry.sets("when"):
        return rule.entry, ("when",)
    rules = {rule.id: rule for rule in ruleset.every_rule()}
    for parameter in sorted(parameters_in(rule.condition)):
        owner, _, name = parameter.rpartition(".")
        entry = rules.get(owner, rule).entry
        if entry.sets("parameters", name):
            return entry, ("parameters", name)
    return rule.entry, ("when",)


def place_of_layers(ruleset: RuleSet) -> tuple[Entry, KeyPath]:
    """Return the top of the topmost layer: the place of what no single change is to blame for."""
    return ruleset.layers[-1].entry, ()
