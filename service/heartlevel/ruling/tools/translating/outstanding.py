"""What of a language is still to be translated, or to be looked at again."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from heartlevel.ruling.files.translated.originals import Texts, originals
from heartlevel.ruling.files.translated.states import COPIED, MISSING, OLDER, UNRECORDED, TranslatedText, translated_texts
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet
from heartlevel.ruling.language.template import locale_of

TOLD = {
    MISSING: "missing",
    OLDER: "older than their originals",
    COPIED: "copied unchanged",
    UNRECORDED: "of unrecorded originals",
}


def originals_in(ruleset: RuleSet) -> Texts:
    """Return every text that there is to be translated, by path."""
    titles = {
        category.title
        for guideline in ruleset.guidelines.values()
        for categories in guideline.categories.values()
        for category in categories
    }
    return originals(ruleset.wording[DEFAULT_LANGUAGE].written, ruleset.every_rule(), titles, ruleset.facts)


def every_text(ruleset: RuleSet, language: str) -> Iterator[TranslatedText]:
    """Yield every text that a language says or does not say; of a language that is not there, all are missing."""
    wording = ruleset.wording.get(language)
    return translated_texts(wording.written if wording else {}, originals_in(ruleset))


def outstanding(ruleset: RuleSet, directory: str = "") -> Iterator[str]:
    """Yield a line a language that is not whole: how many texts are missing, older, copied or unrecorded.

    `directory` is what the command that lists them is to be given.
    """
    for language, wording in sorted(ruleset.wording.items()):
        if language == DEFAULT_LANGUAGE:
            continue
        counts = Counter(text.state for text in every_text(ruleset, language))
        parts = [f"{counts[state]} {words}" for state, words in TOLD.items() if counts[state]]
        if parts:
            command = f"heartlevel rules translate {language} {directory}".rstrip()
            yield f"{language}: texts {', '.join(parts)}; `{command}` lists them"
        if wording.wants_reading:
            yield f"{language}: wants reading by a clinician who speaks the language"


def languages_in(ruleset: RuleSet) -> Iterator[dict[str, Any]]:
    """Yield each language with its own name, and whether its texts want reading by a clinician who speaks it."""
    for language, wording in ruleset.wording.items():
        name = locale_of(language).get_display_name()
        yield {"language": language, "name": name, "wants_reading": wording.wants_reading}
