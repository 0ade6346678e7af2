"""Files for translators, in the PO format of GNU gettext: each text beside its original, in any editor.

A text that is older than its original is marked `fuzzy`, as PO editors do; who has looked at it removes the mark.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from io import BytesIO

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import PoFileError, read_po, write_po

from heartlevel.intake.faults import abridged, near
from heartlevel.ruling.files.translated.originals import CONCLUSION, PATIENT, RULES, TextPath, Texts
from heartlevel.ruling.files.translated.placeholders import unlike
from heartlevel.ruling.files.translated.states import COPIED, MISSING, OLDER, TranslatedText
from heartlevel.ruling.language.template import CLDR_ORDER, OTHER, locale_of

WIDTH, FUZZY, SEPARATOR = 100, "fuzzy", "/"
HEAD = """\
# Texts of heartlevel in the language '{language}', each (msgstr) beside its original (msgid). Write between the quotes;
# a quote within a text is \\". What stands in braces is filled in later: keep it as it is. Behind a number stands the
# form of a word, such as {{days:plural {forms}}}: give the forms of your language, here {names}.
# A text marked "fuzzy" is older than its original: look at it, change it if need be, and remove the word fuzzy.
# What is left empty stays as it is. Give the file back by `heartlevel rules translate {language} --take FILE`.
msgid ""
msgstr ""
"Language: {language}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


class NoTranslations(Exception):
    """Why a file of translations cannot be read."""


@dataclass(frozen=True, slots=True)
class NotTaken:
    """Why a text of a file was not taken: its line, and what is wrong with it."""

    line: int
    detail: str


def for_translators(texts: Iterable[TranslatedText], language: str) -> bytes:
    """Return a PO file of texts, with what the language says of them now."""
    catalog = Catalog(language, fuzzy=False)
    for text in texts:
        flags = [FUZZY] if text.state in (OLDER, COPIED) else []
        message = catalog.add(text.original, text.text or "", auto_comments=[_told(text)], context=_context(text.path))
        message.flags = set(flags)  # without those that babel guesses: no text is one of Python's formats
    written = BytesIO()
    write_po(written, catalog, width=WIDTH, omit_header=True)
    known = {*locale_of(language).plural_form.tags, OTHER}
    tags = [form for form in CLDR_ORDER if form in known]
    forms = " ".join(f"{tag}=..." for tag in tags)
    return HEAD.format(language=language, forms=forms, names=", ".join(tags)).encode() + written.getvalue()


def _context(path: TextPath) -> str:
    return SEPARATOR.join(path)


def _told(text: TranslatedText) -> str:
    """Say to whom a text is said, and what is the matter with its translation."""
    head, *_, last = text.path
    patient = last == PATIENT or head == "next_steps_for_patient" or last.endswith(f"-{PATIENT}")
    patient = patient or text.path[:2] == (CONCLUSION, PATIENT)
    reader = "to the person measured, in plain words" if patient else "to the clinician"
    kind = f"{last} of the rule {text.path[1]}, " if head == RULES else ""
    return f"{kind}{reader}; {text.state}"


def taken_back(written: bytes, originals_by_path: Texts, not_taken: list[NotTaken]) -> dict[TextPath, str]:
    """Return the translations of a file that can be taken; why others cannot is added to `not_taken`.

    Raises NoTranslations, if it is no PO file.
    """
    try:
        catalog = read_po(BytesIO(written), charset="utf-8", abort_invalid=True)
    except UnicodeDecodeError as error:
        raise NoTranslations(f"byte {error.start} is not UTF-8") from error
    except (PoFileError, ValueError) as error:
        raise NoTranslations(f"this is no PO file: {error}") from error
    paths = {_context(path): path for path in originals_by_path}
    taken: dict[TextPath, str] = {}
    for message in catalog:
        if message.id and (FUZZY in message.flags or not message.string):
            continue
        if message.id:
            wrong = list(_wrong(message, originals_by_path, paths))
            not_taken += [NotTaken(message.lineno or 1, f"{message.context}: {detail}") for detail in wrong]
            taken |= {} if wrong else {paths[str(message.context)]: str(message.string).strip()}
    return taken


def _wrong(message: Message, originals_by_path: Texts, paths: dict[str, TextPath]) -> Iterator[str]:
    context, text = message.context, message.string
    if context not in paths:
        hint = near(context, paths)
        yield "there is no such text" + (f" ({hint})" if hint else "")
        return
    original = originals_by_path[paths[context]]
    if not isinstance(text, str) or message.id != original:
        yield f"the original is now {abridged(original)}: write the file anew, and translate that"
        return
    for _, _, detail, hint in unlike(text, original):
        yield detail + (f" ({hint})" if hint else "")


def is_open(text: TranslatedText) -> bool:
    """Tell whether a translator has something to do about a text."""
    return text.state in (MISSING, OLDER, COPIED)
