"""Wording files: each language's texts, checked; what a language does not say falls back to the rules' own texts."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import chain
from string import Formatter
from typing import Any

from heartlevel.facts.catalogue import Fact
from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.files.building import facts_of
from heartlevel.ruling.files.conclusion_texts import conclusion_texts
from heartlevel.ruling.files.content import is_valid
from heartlevel.ruling.files.schema import SENTENCES, RuleTextsBlock
from heartlevel.ruling.files.sentences import NO_LIMITS, sentence
from heartlevel.ruling.files.source import mapping, repeated_names
from heartlevel.ruling.files.translated.checks import unlike_originals
from heartlevel.ruling.files.translated.originals import TEXTS, originals, values_told
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleTexts, Wording
from heartlevel.ruling.language.template import Template, Voice, locale_of
from heartlevel.vocabulary import SCOPES

RULE_TEXTS = RuleTextsBlock()
URGENCY_SLOTS = frozenset({"count", "worst", "when", "date", "days", "minutes", "symptoms", "titles"})
STEPS = ("next_steps", "next_steps_for_patient")


class Languages:
    """The wording files, the default language first: it is what the others fall back to."""

    def __init__(self, entries: Sequence[Entry], catalogue: Mapping[str, Fact], faults: list[RuleFault]) -> None:
        """Check what can be checked without the rules; mistakes are added to `faults`."""
        self._catalogue, self._faults = catalogue, faults
        self._facts = {scope: facts_of(scope, catalogue) for scope in SCOPES}
        faults += repeated_names(entries, "language")
        sound = {entry.item["language"]: entry for entry in entries if self._is_sound(entry)}
        order = sorted(sound, key=lambda language: (language != DEFAULT_LANGUAGE, language))
        self._entries = {language: sound[language] for language in order}

    def _is_sound(self, entry: Entry) -> bool:
        before = len(self._faults)
        self._faults += _mistakes(entry, values_told(self._catalogue))
        for name in mapping(entry.item.get("rules")):
            is_valid(RULE_TEXTS, entry.part("rules", name), self._faults)
        return len(self._faults) == before

    @cached_property
    def next_steps(self) -> dict[str, dict[str, str]]:
        """Each language's next steps by key, in the default language's order."""
        steps = {language: entry.item["next_steps"] for language, entry in self._entries.items()}
        return {language: {**steps.get(DEFAULT_LANGUAGE, {}), **own} for language, own in steps.items()}

    def wordings(
        self,
        rules: Mapping[str, Sequence[Rule]],
        limits: frozenset[str],
        elsewhere: Mapping[str, float],
        ids: Collection[str],
        titles: Collection[str],
    ) -> dict[str, Wording]:
        """Return the wordings by language. Texts may stand for the rules of `ids` and for categories of `titles`.

        They may show a rule's own parameters and those `elsewhere`, by `rule.name`.
        """
        built = {rule.id: rule for of_scope in rules.values() for rule in of_scope}
        default = self._entries[DEFAULT_LANGUAGE].item if DEFAULT_LANGUAGE in self._entries else {}
        voice = Voice(DEFAULT_LANGUAGE, mapping(default.get("names")))
        base = {name: _own_texts(rule, voice) for name, rule in built.items()}
        wordings, conclusion = dict[str, Wording](), None
        steps: dict[str, dict[str, str]] = {field: {} for field in STEPS}
        for language, entry in self._entries.items():
            self._faults += _strangers(entry, "rules", ids, "rule")
            self._faults += _strangers(entry, "categories", titles, "category")
            voice = Voice(language, mapping(entry.item.get("names")))
            worded = {
                name: self._texts(entry.part("rules", name), built[name], base[name], limits, elsewhere, voice)
                for name in mapping(entry.item.get("rules"))
                if name in built
            }
            fallen_back = {
                key: {**mapping(default.get(key)), **mapping(entry.item.get(key))}
                for key in ("categories", "urgency", "sureness", "summary", "follow_up", "pages")
            }
            own_steps = {field: steps[field] | self._filled(entry, field, elsewhere, voice) for field in STEPS}
            conclusion = conclusion_texts(entry, conclusion, voice, self._faults)
            wordings[language] = Wording(
                cautions=entry.item["cautions"], rules={**base, **worded}, conclusion=conclusion, names=voice.names,
                **own_steps, **fallen_back, wants_reading=entry.item.get("wants_reading") is True, written=entry.item,
            )  # fmt: skip
            if language == DEFAULT_LANGUAGE:
                base, steps = {**base, **worded}, own_steps
        translations = [entry for language, entry in self._entries.items() if language != DEFAULT_LANGUAGE]
        told = originals(default, built.values(), titles, self._catalogue)
        self._faults += unlike_originals(translations, told, self._faults)
        return wordings

    def _filled(self, entry: Entry, field: str, parameters: Mapping[str, float], voice: Voice) -> dict[str, str]:
        """Return a language's next steps by key; they can show the parameters of rules."""
        texts = {
            key: sentence(entry.part(field, key), {}, NO_LIMITS, self._faults, voice, parameters)
            for key in mapping(entry.item.get(field))
        }
        return {key: text.filled({}, {}) for key, text in texts.items() if text is not None}

    def _texts(
        self,
        entry: Entry,
        rule: Rule,
        base: RuleTexts,
        limits: frozenset[str],
        elsewhere: Mapping[str, float],
        voice: Voice,
    ) -> RuleTexts:
        facts, parameters = self._facts[rule.scope], {**elsewhere, **rule.parameters}
        own: dict[str, Template] = {}
        for key in ("explanation", "advice", "patient"):
            if entry.item.get(key) is not None:
                template = sentence(entry.part(key), facts, limits, self._faults, voice, parameters)
                own |= {} if template is None else {key: template}
        # Advice in a person's own language is nearer to them than plain words in another.
        own = {"patient": own["advice"], **own} if "advice" in own else own
        title = entry.item.get("title") and sentence(entry.part("title"), {}, NO_LIMITS, self._faults, voice, parameters)
        return replace(base, title=title.filled({}, {}) if title else base.title, **own)


def _own_texts(rule: Rule, voice: Voice) -> RuleTexts:
    explanation, advice = (text.said_with(voice) for text in (rule.explanation, rule.advice))
    return RuleTexts(rule.title, explanation, advice, advice)


def _strangers(entry: Entry, key: str, known: Collection[str], kind: str) -> Iterator[RuleFault]:
    """Yield a fault for each text that stands for nothing there is."""
    for name in sorted(set(mapping(entry.item.get(key))) - set(known)):
        yield entry.fault((key, name), "unknown-name", f"there is no {kind} '{name}'", near(name, sorted(known)))


def _wrong_slots(entry: Entry) -> Iterator[RuleFault]:
    """Yield a fault for each text on urgency that shows something else than such texts can."""
    for name, text in mapping(entry.item.get("urgency")).items():
        strangers = _slots(text) - URGENCY_SLOTS if isinstance(text, str) else ()
        if strangers:
            detail = f"{name}: '{{{min(strangers)}}}' is not among {', '.join(sorted(URGENCY_SLOTS))}"
            yield entry.fault(("urgency", name), "unknown-placeholder", detail)


def _slots(text: str) -> set[str]:
    """Return what stands in braces in a text; braces that do not pair count as one."""
    try:
        parts = list(Formatter().parse(text))
    except ValueError:
        return {"{"}
    return {f"{name}{style and ':' + style}{how and '!' + how or ''}" for _, name, style, how in parts if name is not None}


def showing(rule: Rule, wordings: Mapping[str, Wording]) -> Rule:
    """Return a rule with the facts that any language's texts show; findings are then alike in all languages."""
    worded = chain.from_iterable(wording.rules[rule.id].facts() for wording in wordings.values())
    return replace(rule, shown_facts=tuple(dict.fromkeys([*rule.shown_facts, *worded])))


def _mistakes(entry: Entry, values: Collection[str]) -> Iterator[RuleFault]:
    item: dict[str, Any] = entry.item
    try:
        locale_of(item["language"])
    except ValueError:
        detail = f"{abridged(item['language'])} is no tag of a known language"
        yield entry.fault(("language",), "unknown-name", detail)
    for key in (*TEXTS, "rules"):
        if item.get(key) is not None and not isinstance(item[key], dict):
            yield entry.fault((key,), "not-an-object", f"{key}: expected texts by name")
    for field, name, text in ((key, *named) for key in TEXTS for named in mapping(item.get(key)).items()):
        if not isinstance(text, str):
            yield entry.fault((field, name), "not-a-text", f"{name}: found {abridged(text)}; expected a text")
        elif not 0 < len(text) <= SENTENCES:
            yield entry.fault((field, name), "text-length", f"{name}: expected a text of 1 to {SENTENCES} characters")
    yield from _wrong_slots(entry)
    for name in mapping(item.get("names")):
        if name not in values:
            detail = f"'{name}' is no value that a sentence can show"
            yield entry.fault(("names", name), "unknown-name", detail, near(name, sorted(values)))
