"""What is told of whether requests are answered, and with which rules."""

from typing import Any

from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.web.rules.reloading import RulesInForce


def readiness(in_force: RulesInForce, ruleset: RuleSet, is_told_all: bool) -> dict[str, Any]:
    """Return that requests are answered; to who may read rules also with which, and why changed files were refused."""
    told: dict[str, Any] = {"status": "ready", "rules_refused": bool(in_force.refused)}
    if not is_told_all:
        return told
    layers = [layer.as_dict() for layer in ruleset.layers]
    named = {"revision": ruleset.revision, "layers": layers, "fingerprint": ruleset.fingerprint}
    return {**told, "rules": named, "refused": list(in_force.refused)}
