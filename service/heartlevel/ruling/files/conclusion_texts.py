"""The sentences of conclusions in wording files: every statement for every reader, checked against what it can show."""

from collections.abc import Iterator, Mapping
from typing import Any

from heartlevel.intake.faults import near
from heartlevel.ruling.files.sentences import NO_LIMITS, sentence
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.page_words import PAGE_WORDS
from heartlevel.ruling.language.statements import READERS, STATEMENTS, SUMMARY_WORDS, WORDS, ConclusionTexts
from heartlevel.ruling.language.template import Template, Voice

PARTS = (*READERS, "words")


def conclusion_texts(entry: Entry, base: ConclusionTexts | None, voice: Voice, faults: list[RuleFault]) -> ConclusionTexts:
    """Return one language's sentences; what it does not say is taken from `base`, the default language's.

    Mistakes are added to `faults`: names that are none, slots that a statement does not have and, in the default
    language, statements that are not said and words that the summary and the pages need.
    """
    conclusion = Entry(entry.origin, (*entry.path, "conclusion"), mapping(entry.item.get("conclusion")))
    faults += _strangers(conclusion, (), PARTS)
    voiced = Voice(voice.language, {**(base.words if base else {}), **_words(conclusion, faults)})
    texts = {reader: _sentences(conclusion, reader, voiced, faults) for reader in READERS}
    if base is None:
        faults += _missing(conclusion)
        for part, names, told in (("summary", SUMMARY_WORDS, "the summary's"), ("pages", PAGE_WORDS, "the pages'")):
            absent = [name for name in names if name not in mapping(entry.item.get(part))]
            faults += [entry.fault((), "missing-text", f"{told} '{name}' is not there") for name in absent]
        return ConclusionTexts(voiced.names, texts)
    return ConclusionTexts(voiced.names, {reader: {**base.sentences[reader], **texts[reader]} for reader in READERS})


def _words(conclusion: Entry, faults: list[RuleFault]) -> Mapping[str, str]:
    faults += _strangers(conclusion, ("words",), WORDS)
    return {key: str(word) for key, word in mapping(conclusion.item.get("words")).items()}


def _sentences(conclusion: Entry, reader: str, voice: Voice, faults: list[RuleFault]) -> dict[str, Template]:
    faults += _strangers(conclusion, (reader,), STATEMENTS)
    texts: dict[str, Template] = {}
    for code, text in mapping(conclusion.item.get(reader)).items():
        if not isinstance(text, str):
            faults.append(conclusion.fault((reader, code), "not-a-text", f"{code}: expected a text"))
        elif code in STATEMENTS:
            template = sentence(conclusion.part(reader, code), STATEMENTS[code], NO_LIMITS, faults, voice)
            texts |= {} if template is None else {code: template}
    return texts


def _strangers(conclusion: Entry, path: tuple[str, ...], known: Any) -> Iterator[RuleFault]:
    for name in sorted(set(mapping(conclusion.item, *path)) - set(known)):
        yield conclusion.fault((*path, name), "unknown-name", f"a conclusion has no '{name}'", near(name, sorted(known)))


def _missing(conclusion: Entry) -> Iterator[RuleFault]:
    for reader in READERS:
        for code in STATEMENTS:
            if code not in mapping(conclusion.item.get(reader)):
                yield conclusion.fault((), "missing-text", f"the conclusion's '{code}' is not said to the {reader}")
