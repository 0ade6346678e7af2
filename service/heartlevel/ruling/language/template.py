"""Sentences with slots for facts, limits and parameters, filled as their language writes numbers and words.

`{cuff_width_to_arm:percent}` shows a share, `{limit:severe.systolic}` a limit, `{param:minutes}` a parameter of the rule
in the styles that facts have, `{param:other-rule.minutes}` that of another, `{fixed:20}` a number that stays as it is
whatever the rule compares with, and `{home_days} {home_days:plural one=day other=days}` a number with the word that goes
with it. The forms of a word are called as Unicode's plural rules call them (one, two, few, many ...), or by the very
number (`=2`), which goes first; `other` stands for every form not given, such as those of fractions, and `*` in a form
for the number.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from functools import lru_cache
from string import Formatter

from babel import Locale, UnknownLocaleError
from babel.numbers import format_decimal

from heartlevel.facts.catalogue import Fact

STYLES = ("", "percent", "hundredths")  # hundredths: a percentage without its sign, as in `37 to 50 %`
PLURAL = "plural"
NAME_OF_FORM = r"(?:[a-z]+|=\d+(?:\.\d+)?)"
FORM = re.compile(rf"\s+({NAME_OF_FORM})=([^={{}}]*[^={{}}\s])(?=\s+{NAME_OF_FORM}=|\s*$)")
OTHER = "other"
CLDR_ORDER = ("zero", "one", "two", "few", "many", OTHER)
NUMBER = "*"  # in a form
PLAIN_NUMBER = re.compile(r"\d+(\.\d+)?")
PARAMETER, FIXED = "param", "fixed"
NO_PARAMETERS: Mapping[str, float] = {}
YES, NO, NOT_RECORDED = "yes", "no", "not recorded"
Forms = Mapping[str, str]


class TemplateFault(Exception):
    """A sentence whose slots cannot be filled."""


class WrongForms(TemplateFault):
    """Forms of a word that do not fit the language or the fact."""


class Unpaired(TemplateFault):
    """Braces that do not pair."""


@dataclass(frozen=True, slots=True)
class Voice:
    """How a language writes numbers, and the words it has for values: yes, no, not recorded, names of choices."""

    language: str
    names: Mapping[str, str] = field(default_factory=dict)

    def shown(self, value: object, style: str) -> str:
        """Write a value; numbers to at most one decimal."""
        if value is None:
            return self.names.get(NOT_RECORDED, NOT_RECORDED)
        if isinstance(value, bool):
            value = YES if value else NO
        if not isinstance(value, (int, float)):
            return self.names.get(str(value), str(value))
        if style:
            return _decimal(round(100 * value), self.language) + (" %" if style == "percent" else "")
        return _decimal(round(value, 1) + 0.0, self.language)

    def exactly(self, value: float, style: str) -> str:
        """Write a number with all its decimals."""
        figure = _decimal(round(100 * value if style else value, 9) + 0.0, self.language, "0.#########")
        return f"{figure} %" if style == "percent" else figure

    def word(self, value: object, shown: str, forms: Forms, decimals: int = 1) -> str:
        """Return the form of a word that goes with a number as it is shown."""
        if not isinstance(value, (int, float)):
            return forms[OTHER].replace(NUMBER, shown)
        number = abs(round(value, decimals))
        form = _plural_form(number, self.language)
        return forms.get(f"={number:g}", forms.get(form, forms[OTHER])).replace(NUMBER, shown)


ENGLISH = Voice("en")


@lru_cache
def locale_of(language: str) -> Locale:
    """Return what is known of a language by its tag. Raises ValueError for a tag of no known language."""
    try:
        return Locale.parse(language, sep="-")
    except UnknownLocaleError as error:
        raise ValueError(str(error)) from error


@lru_cache(maxsize=8192)  # a number's text is asked for many times, and making it is slow
def _decimal(value: float, language: str, layout: str = "0.#") -> str:
    return format_decimal(value, layout, locale_of(language))


@lru_cache(maxsize=8192)
def _plural_form(number: float, language: str) -> str:
    return str(locale_of(language).plural_form(number))


@dataclass(frozen=True, slots=True)
class Slot:
    """A part of a sentence to be filled: a fact or a limit, its style, or the forms of a word that goes with it."""

    name: str
    is_limit: bool
    style: str
    forms: Forms | None


class Template:
    """A sentence, taken apart once."""

    def __init__(
        self,
        text: str,
        facts: Mapping[str, Fact],
        limits: frozenset[str],
        voice: Voice = ENGLISH,
        parameters: Mapping[str, float] = NO_PARAMETERS,
    ) -> None:
        """Check every slot, and fill those of parameters.

        Raises TemplateFault with the name that is no fact, limit or parameter, or a kind of it with the cause.
        """
        self.voice = voice
        try:
            parsed = Formatter().parse(text)
            parts = [(before, _whole(name, converted), style or "") for before, name, style, converted in parsed]
        except ValueError as error:
            raise Unpaired("a brace is opened and not closed, or closed and not opened") from error
        self._parts: list[tuple[str, Slot | None]] = []
        for before, name, style in parts:
            if name in (PARAMETER, FIXED):
                shown = _parameter if name == PARAMETER else _fixed
                self._parts.append((before + shown(style, parameters, voice), None))
            else:
                self._parts.append((before, None if name is None else _slot(name, style, facts, limits, voice)))
        self._has_slots = any(slot is not None for _, slot in self._parts)
        if not self._has_slots:
            self._parts = [("".join(before for before, _ in self._parts), None)]

    def said_with(self, voice: Voice) -> "Template":
        """Return the sentence with the words that a voice of the same language has for values."""
        sentence = copy(self)
        sentence.voice = voice
        return sentence

    def facts(self) -> Iterator[str]:
        """Yield the names of the facts the sentence shows."""
        return (slot.name for _, slot in self._parts if slot is not None and not slot.is_limit)

    def filled(self, facts: Mapping[str, object], limits: Mapping[str, float]) -> str:
        """Return the sentence with its slots filled."""
        if not self._has_slots:
            return self._parts[0][0]
        whole = []
        for before, slot in self._parts:
            whole.append(before)
            if slot is not None:
                value = limits[slot.name] if slot.is_limit else facts.get(slot.name)
                shown = self.voice.shown(value, slot.style)
                whole.append(shown if slot.forms is None else self.voice.word(value, shown, slot.forms))
        return "".join(whole)


def _whole(name: str | None, converted: str | None) -> str | None:
    """Return what is written as a name, a conversion (`!r`) included: none then passes for a name."""
    return f"{name}!{converted}" if converted else name


def _parameter(written: str, parameters: Mapping[str, float], voice: Voice) -> str:
    """Return the text of a parameter, of several the largest, in a style; or the form of a word that goes with it."""
    name, _, style = written.partition(":")
    style, forms = _with_forms(style)
    names = name.split(",")
    if not parameters.keys() >= set(names) or style not in STYLES:
        raise TemplateFault(f"{PARAMETER}:{written}")
    value = max(parameters[name] for name in names)
    shown = voice.exactly(value, style)
    if forms is None:
        return shown
    _check_forms(forms, voice)
    return voice.word(value, shown, forms, decimals=9)


def _fixed(written: str, _: Mapping[str, float], voice: Voice) -> str:
    """Return a number as the language writes it."""
    if not PLAIN_NUMBER.fullmatch(written):
        raise TemplateFault(f"{FIXED}:{written}")
    return voice.exactly(float(written), "")


def _slot(name: str, style: str, facts: Mapping[str, Fact], limits: frozenset[str], voice: Voice) -> Slot:
    style, forms = _with_forms(style)
    is_limit = name == "limit" and style in limits
    if not is_limit and (name not in facts or style not in STYLES):
        raise TemplateFault(f"limit:{style}" if name == "limit" else f"{name}:{style}".rstrip(":"))
    if forms is not None:
        if not is_limit and facts[name].kind != "number":
            raise WrongForms(f"{name} is no number, so no word has a form for it")
        _check_forms(forms, voice)
    return Slot(style, True, "", forms) if is_limit else Slot(name, False, style, forms)


def _with_forms(style: str) -> tuple[str, Forms | None]:
    """Part a style from the forms of a word behind it."""
    before, plural, forms = f" {style} ".partition(f" {PLURAL} ")
    if not plural:
        return style, None
    forms = forms.strip()
    written = FORM.findall(f" {forms}")
    if not written or FORM.sub("", f" {forms}").strip():
        raise WrongForms(f"'{forms}' does not name forms")
    return before.strip(), dict(written)


def _check_forms(forms: Forms, voice: Voice) -> None:
    known = locale_of(voice.language).plural_form.tags | {OTHER}
    for form in forms:
        if form not in known and not form.startswith("="):
            raise WrongForms(f"'{form}' is no form of {voice.language}, which has {', '.join(sorted(known))}")
    if OTHER not in forms:
        raise WrongForms(f"the form '{OTHER}' is missing")
    missing = [form for form in _examples_of_forms(voice.language) if form not in forms]
    if missing and forms.keys() & known - {OTHER}:  # where there is `other` alone, the word never changes
        examples = _examples_of_forms(voice.language)
        listed = "; ".join(f"{form}, as with {', '.join(map(str, examples[form]))}" for form in missing)
        raise WrongForms(f"{voice.language} has more forms: {listed}")


@lru_cache
def _examples_of_forms(language: str) -> Mapping[str, Sequence[int]]:
    """Return the forms that whole numbers below a thousand have, each with the first of them."""
    form_of = locale_of(language).plural_form
    examples: dict[str, list[int]] = {}
    for number in range(1000):
        examples.setdefault(form_of(number), []).append(number)
    return {form: examples[form][:3] for form in sorted(examples, key=CLDR_ORDER.index)}
