"""How far each text of a language is: missing, older than its original, a copy of it, unrecorded, or done."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.files.translated.originals import MOST_TEXTS, TextPath, Texts, fingerprint, texts_in
from heartlevel.ruling.files.translated.placeholders import SLOT

MADE_FROM, SAME_WORDS = "made_from", "same_words"
MISSING, OLDER, COPIED, UNRECORDED, DONE = TEXT_STATES = ("missing", "older", "copied", "unrecorded", "done")


@dataclass(frozen=True, slots=True)
class TranslatedText:
    """A text that a language can say: its original, what the language says, and how far it is (of TEXT_STATES)."""

    path: TextPath
    original: str
    text: str | None
    state: str


def translated_texts(item: Mapping[str, Any], originals_by_path: Texts) -> Iterator[TranslatedText]:
    """Yield every text that a language, whose wording is `item`, says or leaves to the default language."""
    own, same = texts_in(item), frozenset(_words(text) for text in item.get(SAME_WORDS) or ())
    for path, original in originals_by_path.items():
        text = own.get(path)
        yield TranslatedText(path, original, text, _state(text, original, recorded(item, path), same))


def recorded(item: Mapping[str, Any], path: TextPath) -> str | None:
    """Return the fingerprint of the original that a translation was made from; None where nobody recorded it."""
    written = mapping(item, MADE_FROM, *path[:-1]).get(path[-1])
    return written if isinstance(written, str) else None


def _state(text: str | None, original: str, made_from: str | None, same: frozenset[str]) -> str:
    if text is None:
        return MISSING
    if made_from not in (None, fingerprint(original)):
        return OLDER
    words = _words(text)
    if words == _words(original) and words not in same and any(map(str.isalpha, SLOT.sub("", words))):
        return COPIED
    return UNRECORDED if made_from is None else DONE


@lru_cache(maxsize=MOST_TEXTS)
def _words(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()
