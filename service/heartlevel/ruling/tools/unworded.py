"""Texts that a language has not: they are left to the default language or to the rules themselves."""

from collections.abc import Iterator, Mapping
from typing import Any

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.files.wording import RULE_TEXTS
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet


def unworded(ruleset: RuleSet) -> Iterator[str]:
    """Name each text that a language leaves to the default language or to the rules' own texts."""
    titles = {
        category.title
        for guideline in ruleset.guidelines.values()
        for categories in guideline.categories.values()
        for category in categories
    }
    files: dict[str, Mapping[str, Any]] = {language: wording.written for language, wording in ruleset.wording.items()}
    default = files.pop(DEFAULT_LANGUAGE, {})
    names = {"categories": sorted(titles), "next_steps": list(default.get("next_steps", ()))}
    kinds = {"categories": "category", "next_steps": "next step"}
    for language, texts in sorted(files.items()):
        for key, kind in kinds.items():
            missing = [name for name in names[key] if name not in mapping(texts.get(key))]
            yield from (f"{language} has no words for the {kind} '{name}'" for name in missing)
        of_rules = mapping(texts.get("rules"))
        for rule in ruleset.every_rule():
            if missing := [key for key in RULE_TEXTS.fields if not mapping(of_rules.get(rule.id)).get(key)]:
                yield f"{language} has no {', '.join(missing)} of the rule '{rule.id}'"
