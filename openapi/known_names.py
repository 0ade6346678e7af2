"""Names of shipped rules, guidelines, protocols and languages in the schemas of rule files: editors complete them, and a
clinic's own are taken all the same. A rule's next steps and the keys of texts are named so too.
"""

from collections.abc import Iterable
from typing import Any

from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.condition_schemas import JsonSchema
from heartlevel.vocabulary import SCOPES


def rules_by_scope(ruleset: RuleSet) -> dict[str, list[str]]:
    """Return the ids of the shipped rules, by scope."""
    return {scope: sorted(rule.id for rule in ruleset.rules[scope]) for scope in SCOPES}


def or_own(schema: JsonSchema, names: Iterable[str]) -> None:
    """Have the names completed in a text that may be another one too."""
    schema["anyOf"] = [{"enum": sorted(names)}, {"type": schema["type"]}]


def name_all(schemas: dict[str, JsonSchema], ruleset: RuleSet) -> None:
    """Complete names wherever rule files mention others, in place."""
    guidelines, protocols = list(ruleset.guidelines), list(ruleset.protocols)
    or_own(schemas["Guideline"]["properties"]["in_pregnancy"], guidelines)
    or_own(schemas["Guideline"]["properties"]["protocol"], protocols)
    or_own(schemas["Head"]["properties"]["default_guideline"], guidelines)
    or_own(schemas["Unusual"]["properties"]["id"], [*_all_rules(ruleset), *guidelines, *protocols])
    for scope, rules in rules_by_scope(ruleset).items():
        example = schemas[f"example-of-{scope}"]["properties"]
        or_own(example["guideline"], guidelines)
        or_own(example["protocol"], protocols)
        or_own(example["findings"]["items"], rules)
        or_own(schemas[f"condition-of-{scope}"]["properties"]["finding"], rules)
        or_own(schemas[f"rule-of-{scope}"]["properties"]["next_step"], ruleset.wording["en"].next_steps)
    _texts_of_rules(schemas["Wording"]["properties"], ruleset)


def _all_rules(ruleset: RuleSet) -> list[str]:
    return [rule.id for rule in ruleset.every_rule()]


def _texts_of_rules(wording: dict[str, Any], ruleset: RuleSet) -> None:
    texts = wording["rules"]["additionalProperties"]
    wording["rules"]["properties"] = {rule.id: {**texts, "description": rule.title} for rule in ruleset.every_rule()}
