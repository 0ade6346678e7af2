"""Wording files: each language's texts, checked; what a language does not say falls back to the rules' own texts."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import chain
from typing import Any

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.faults import near, shown
from heartlevel.ruling.building import facts_of, sentence
from heartlevel.ruling.content import is_valid
from heartlevel.ruling.ruleset import Rule, Said, Wording
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
        self, rules: Mapping[str, Sequence[Rule]], limits: frozenset[str], known: Collection[str]
    ) -> dict[str, Wording]:
        """Return the wordings by language. `known` are all ids for which a text may stand."""
        built = {rule.id: rule for several in rules.values() for rule in several}
        own = {
            name: Said(rule.written["title"], rule.explanation, rule.advice, patient=rule.advice)
            for name, rule in built.items()
        }
        wordings: dict[str, Wording] = {}
        for language, written in self._items.items():
            file, path, item = written
            for name in set(mapping(item.get("rules"))) - set(known):
                hint = near(name, sorted(known))
                self._faults.append(file.fault((*path, "rules", name), "unknown-name", f"there is no rule '{name}'", hint))
            base = wordings[DEFAULT_LANGUAGE].said if DEFAULT_LANGUAGE in wordings else own
            worded = {
                name: self._said((file, (*path, "rules", name), texts), built[name], base[name], limits, _voice(item))
                for name, texts in mapping(item.get("rules")).items()
                if name in built
            }
            default = self._items.get(DEFAULT_LANGUAGE, written)[2]
            sureness = {**mapping(default.get("sureness")), **mapping(item.get("sureness"))}
            wordings[language] = Wording(self.next_steps[language], item["cautions"], {**base, **worded}, sureness, item)
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
        detail = f"{shown(item['language'])} is no tag of a known language"
        yield file.fault((*path, "language"), "unknown-name", detail)
    for key in ("next_steps", "names", "sureness", "rules"):
        if item.get(key) is not None and not isinstance(item[key], dict):
            yield file.fault((*path, key), "not-an-object", f"{key}: expected texts by name")
    for key in ("next_steps", "names", "sureness"):
        yield from _no_texts(file, (*path, key), mapping(item.get(key)))
    for name in mapping(item.get("names")):
        if name not in VALUES:
            detail = f"'{name}' is no value that a sentence can show"
            yield file.fault((*path, "names", name), "unknown-name", detail, near(name, sorted(VALUES)))


def _no_texts(file: Origin, path: Path_, texts: Mapping[str, object]) -> Iterator[RuleFault]:
    for name, text in texts.items():
        if not isinstance(text, str):
            yield file.fault((*path, name), "not-a-text", f"{name}: found {shown(text)}; expected a text")
        elif not 0 < len(text) <= SENTENCES:
            yield file.fault((*path, name), "text-length", f"{name}: expected a text of 1 to {SENTENCES} characters")
