"""Wording files: each language's texts, checked; what a language does not say falls back to the rules' own texts."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import chain
from typing import Any

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.building import facts_of, sentence
from heartlevel.ruling.content import is_valid
from heartlevel.ruling.ruleset import Rule, RuleSet, Said, Wording
from heartlevel.ruling.schema import SENTENCES, RuleTexts
from heartlevel.ruling.source import Origin, Path_, RuleFault, Written, mapping, repeated_names
from heartlevel.ruling.template import NO, NOT_RECORDED, YES, Template, Voice, locale_of

DEFAULT_LANGUAGE = "en"  # also what a request gets that asks for none
RULE_TEXTS = RuleTexts()
VALUES = frozenset(chain([YES, NO, NOT_RECORDED], *(fact.names for fact in CATALOGUE.values())))


class Languages:
    """The wording files, the default language first: it is what the others fall back to."""

    def __init__(self, items: Sequence[Written], faults: list[RuleFault]) -> None:
        """Check what can be checked without the rules; mistakes are added to `faults`."""
        self._faults = faults
        faults += repeated_names(items, "language")
        sound = [one for one in items if self._is_sound(one)]
        self._items = {one[2]["language"]: one for one in sorted(sound, key=_default_first)}

    def _is_sound(self, written: Written) -> bool:
        before = len(self._faults)
        self._faults += _mistakes(written)
        file, path, item = written
        for name, texts in mapping(item.get("rules")).items():
            is_valid(RULE_TEXTS, (file, (*path, "rules", name), texts), self._faults)
        return len(self._faults) == before

    @cached_property
    def next_steps(self) -> dict[str, dict[str, str]]:
        """Return each language's next steps by key, in the default language's order."""
        steps = {language: item["next_steps"] for language, (_, _, item) in self._items.items()}
        return {language: {**steps.get(DEFAULT_LANGUAGE, {}), **own} for language, own in steps.items()}

    def wordings(
        self, rules: Mapping[str, Sequence[Rule]], limits: frozenset[str], known: Collection[str], titles: Collection[str]
    ) -> dict[str, Wording]:
        """Return the wordings by language. Texts may stand for `known`, ids of rules, and `titles` of categories."""
        built = {rule.id: rule for several in rules.values() for rule in several}
        own = {name: Said(rule.title, rule.explanation, rule.advice, patient=rule.advice) for name, rule in built.items()}
        wordings: dict[str, Wording] = {}
        for language, written in self._items.items():
            file, path, item = written
            self._faults += _strangers(written, "rules", known, "rule")
            self._faults += _strangers(written, "categories", titles, "category")
            base = wordings[DEFAULT_LANGUAGE].said if DEFAULT_LANGUAGE in wordings else own
            worded = {
                name: self._said((file, (*path, "rules", name), texts), built[name], base[name], limits, _voice(item))
                for name, texts in mapping(item.get("rules")).items()
                if name in built
            }
            default = self._items.get(DEFAULT_LANGUAGE, written)[2]
            categories, sureness = (
                {**mapping(default.get(key)), **mapping(item.get(key))} for key in ("categories", "sureness")
            )
            wordings[language] = Wording(
                self.next_steps[language], item["cautions"], {**base, **worded}, categories, sureness, item
            )
        return wordings

    def _said(self, written: Written, rule: Rule, base: Said, limits: frozenset[str], voice: Voice) -> Said:
        file, path, texts = written
        facts = facts_of(rule.scope)
        made: dict[str, Template] = {}
        for key in ("explanation", "advice", "patient"):
            if texts.get(key) is not None:
                template = sentence((file, (*path, key), texts[key]), facts, limits, self._faults, voice)
                made |= {} if template is None else {key: template}
        # Advice in a person's own language is nearer to them than plain words in another.
        made = {"patient": made["advice"], **made} if "advice" in made else made
        return replace(base, title=texts.get("title") or base.title, **made)


def unworded(ruleset: RuleSet) -> Iterator[str]:
    """Say what a language leaves to the default language or to the rules' own texts."""
    own = ruleset.wording[DEFAULT_LANGUAGE].written if DEFAULT_LANGUAGE in ruleset.wording else {}
    titles = (one.title for of in ruleset.guidelines.values() for several in of.categories.values() for one in several)
    every = {"category": sorted(set(titles)), "next step": list(own.get("next_steps", ()))}
    for language, wording in sorted(ruleset.wording.items()):
        if language == DEFAULT_LANGUAGE:
            continue
        has = {"category": wording.written.get("categories"), "next step": wording.written["next_steps"]}
        for kind, names in every.items():
            missing = [name for name in names if name not in mapping(has[kind])]
            yield from (f"{language} has no words for the {kind} '{name}'" for name in missing)
        worded = mapping(wording.written.get("rules"))
        for rule in ruleset.every_rule():
            if texts := [key for key in RULE_TEXTS.fields if not mapping(worded.get(rule.id)).get(key)]:
                yield f"{language} has no {', '.join(texts)} of the rule '{rule.id}'"


def _strangers(written: Written, key: str, known: Collection[str], kind: str) -> Iterator[RuleFault]:
    """Yield a fault for each text that stands for nothing there is."""
    file, path, item = written
    for name in sorted(set(mapping(item.get(key))) - set(known)):
        yield file.fault((*path, key, name), "unknown-name", f"there is no {kind} '{name}'", near(name, sorted(known)))


def showing(rules: Mapping[str, Sequence[Rule]], wordings: Mapping[str, Wording]) -> dict[str, tuple[Rule, ...]]:
    """Return the rules with the facts that any language's texts show; findings are then alike in all languages."""
    return {scope: tuple(_showing(rule, wordings) for rule in several) for scope, several in rules.items()}


def _showing(rule: Rule, wordings: Mapping[str, Wording]) -> Rule:
    worded = chain.from_iterable(one.said[rule.id].facts() for one in wordings.values())
    return replace(rule, shown_facts=tuple(dict.fromkeys([*rule.shown_facts, *worded])))


def _default_first(written: Written) -> tuple[bool, str]:
    language = written[2]["language"]
    return language != DEFAULT_LANGUAGE, language


def _voice(item: Mapping[str, Any]) -> Voice:
    return Voice(item["language"], mapping(item.get("names")))


def _mistakes(written: Written) -> Iterator[RuleFault]:
    file, path, item = written
    try:
        locale_of(item["language"])
    except ValueError:
        detail = f"{abridged(item['language'])} is no tag of a known language"
        yield file.fault((*path, "language"), "unknown-name", detail)
    for key in ("next_steps", "names", "categories", "sureness", "rules"):
        if item.get(key) is not None and not isinstance(item[key], dict):
            yield file.fault((*path, key), "not-an-object", f"{key}: expected texts by name")
    for key in ("next_steps", "names", "categories", "sureness"):
        yield from _no_texts(file, (*path, key), mapping(item.get(key)))
    for name in mapping(item.get("names")):
        if name not in VALUES:
            detail = f"'{name}' is no value that a sentence can show"
            yield file.fault((*path, "names", name), "unknown-name", detail, near(name, sorted(VALUES)))


def _no_texts(file: Origin, path: Path_, texts: Mapping[str, object]) -> Iterator[RuleFault]:
    for name, text in texts.items():
        if not isinstance(text, str):
            yield file.fault((*path, name), "not-a-text", f"{name}: found {abridged(text)}; expected a text")
        elif not 0 < len(text) <= SENTENCES:
            yield file.fault((*path, name), "text-length", f"{name}: expected a text of 1 to {SENTENCES} characters")
