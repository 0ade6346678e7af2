"""Mistakes in translations: placeholders that are not those of the original."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence, Set

from heartlevel.ruling.files.translated.originals import RULES, TO_CLINICIAN, TextPath, Texts
from heartlevel.ruling.files.translated.placeholders import placeholders, unlike
from heartlevel.ruling.files.translated.states import OLDER, TranslatedText, translated_texts
from heartlevel.ruling.language.faults import Entry, RuleFault

AT_FAULT = ("unknown-placeholder", "wrong-plural")  # what is not shown may then be misspelt
LineAndColumn = tuple[str, int, int]


def unlike_originals(
    entries: Iterable[Entry], originals_by_path: Texts, faults: Collection[RuleFault]
) -> Iterator[RuleFault]:
    """Yield each placeholder that a translation shows and its original does not, or the other way round.

    The texts of a rule to the clinician count as one, for a sentence may move. Nothing is said of a translation that is
    older than its original, which is told by itself, nor of a text among `faults`.
    """
    at_fault = {(fault.file, fault.line, fault.column) for fault in faults if fault.code in AT_FAULT}
    for entry in entries:
        texts = {text.path: text for text in translated_texts(entry.item, originals_by_path)}
        for group in _told_together(texts):
            yield from _unlike(entry, [texts[path] for path in group], at_fault)


def _told_together(paths: Iterable[TextPath]) -> Iterator[list[TextPath]]:
    groups: dict[TextPath, list[TextPath]] = {}
    for path in paths:
        key = path[:2] if path[0] == RULES and path[-1] in TO_CLINICIAN else path
        groups.setdefault(key, []).append(path)
    yield from groups.values()


def _unlike(entry: Entry, texts: Sequence[TranslatedText], at_fault: Set[LineAndColumn]) -> Iterator[RuleFault]:
    own = {text.path: text for text in texts if text.text is not None}
    written_at = {_position(entry, path) for path in own}
    if not own or any(text.state == OLDER for text in own.values()) or not at_fault.isdisjoint(written_at):
        return
    told = " ".join(text.text or text.original for text in texts)
    for slot, code, detail, hint in unlike(told, " ".join(text.original for text in texts)):
        yield entry.fault(_nearest(own, slot), code, detail, hint)


def _nearest(own: Mapping[TextPath, TranslatedText], slot: str) -> TextPath:
    """Return the text that shows a placeholder, else the one whose original does, else the first."""
    showing = [path for path, text in own.items() if slot in placeholders(text.text or "")]
    meant = [path for path, text in own.items() if slot in placeholders(text.original)]
    return [*showing, *meant, *own][0]


def _position(entry: Entry, path: TextPath) -> LineAndColumn:
    position = entry.origin.position((*entry.path, *path))
    return position.file, position.line, position.column
