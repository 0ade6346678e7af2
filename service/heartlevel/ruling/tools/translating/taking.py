"""What a language's wording is to say once translations are taken, as the fields that are to be set."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from heartlevel.ruling.files.layers import TOP
from heartlevel.ruling.files.source import source_file
from heartlevel.ruling.files.translated.originals import CAUTIONS, RULES, TextPath, Texts, fingerprint
from heartlevel.ruling.files.translated.states import COPIED, MADE_FROM, SAME_WORDS, TranslatedText, recorded
from heartlevel.ruling.tools.translating.merging import OnOneLine, new_file, with_change, with_texts

WORDING = "wording"


def to_record(item: Mapping[str, Any], texts: Iterable[TranslatedText], under: Iterable[TextPath]) -> list[TextPath]:
    """Return the paths, under those given, of texts that a language says, not known to be made from their originals."""
    beginnings = list(under)
    return [
        text.path
        for text in texts
        if text.text is not None
        and recorded(item, text.path) != fingerprint(text.original)
        and any(text.path[: len(beginning)] == beginning for beginning in beginnings)
    ]


def fields_to_set(
    item: Mapping[str, Any], texts: Iterable[TranslatedText], taken: Texts, unrecorded: Iterable[TextPath] = ()
) -> dict[str, Any]:
    """Return fields of a wording: the texts taken, and the fingerprints of their originals and of those `unrecorded`.

    A copy of its original that is taken again is one of the words that truly are the same.
    """
    known = {text.path: text for text in texts}
    fields = _nested({path: text for path, text in taken.items() if path[0] != CAUTIONS})
    if not item or any(path[0] == CAUTIONS for path in taken):  # a list is set whole, and a language cannot be without
        told = [text for path, text in known.items() if path[0] == CAUTIONS]
        fields[CAUTIONS] = [taken.get(text.path) or text.text or text.original for text in told]
    same = [text for path, text in taken.items() if known[path].state == COPIED and text == known[path].original]
    if same:
        fields[SAME_WORDS] = list(dict.fromkeys([*(item.get(SAME_WORDS) or ()), *same]))
    made_from = {path: fingerprint(known[path].original) for path in known if path in {*taken, *unrecorded}}
    return fields | ({MADE_FROM: _records(made_from)} if made_from else {})


def _records(made_from: Texts) -> dict[str, Any]:
    """Return fingerprints by path; those of a rule are to be written on one line."""
    whole = _nested(made_from)
    rules = {name: OnOneLine(of_rule) for name, of_rule in whole.get(RULES, {}).items()}
    return whole | ({RULES: rules} if rules else {})


def _nested(texts: Texts) -> dict[str, Any]:
    """Return texts by path as mappings within mappings."""
    whole: dict[str, Any] = {}
    for path, text in texts.items():
        inner = whole
        for key in path[:-1]:
            inner = inner.setdefault(key, {})
        inner[path[-1]] = text
    return whole


def file_with(
    folder: Path, language: str, is_below: bool, fields: Mapping[str, Any], order: Iterable[TextPath]
) -> tuple[Path, str]:
    """Return the file of a directory that a language's fields are to be set in, and its new text.

    That is the language's own file; in a layer over rules that have the language (`is_below`) the layer's; else a new one.
    """
    own = next((path for path in sorted((folder / WORDING).rglob("*.yaml")) if _language(path) == language), None)
    if own is not None:
        return own, with_texts(own.read_text("utf-8"), fields, order)
    if is_below and (folder / TOP).is_file():
        return folder / TOP, with_change((folder / TOP).read_text("utf-8"), language, fields, order)
    return folder / WORDING / f"{language}.yaml", new_file({"language": language, "next_steps": {}, **fields})


def _language(path: Path) -> Any:
    data = source_file(path, path.name).data
    return data.get("language") if isinstance(data, dict) else None
