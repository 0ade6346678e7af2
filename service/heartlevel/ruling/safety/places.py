"""Where in rule files the figures of a loaded rule set stand."""

from heartlevel.ruling.language.faults import Entry, KeyPath
from heartlevel.ruling.language.ruleset import Profile, RuleSet

OF_PROTOCOL = "protocol."
PLAIN = ("adults_from_years", "after_birth_days")  # limits that stand at the top of a guideline


def place_of_limit(ruleset: RuleSet, profile: Profile, name: str) -> tuple[Entry, KeyPath]:
    """Return the guideline or protocol that a limit stands in, and where in it."""
    if name.startswith(OF_PROTOCOL):
        return ruleset.entries["protocol", profile[1]], tuple(name.removeprefix(OF_PROTOCOL).split("."))
    path = (name,) if name in PLAIN else ("limits", *name.split("."))
    return ruleset.entries["guideline", profile[0]], path


def place_of_layers(ruleset: RuleSet) -> tuple[Entry, KeyPath]:
    """Return the top of the topmost layer: the place of what no single change is to blame for."""
    return ruleset.layers[-1].entry, ()
