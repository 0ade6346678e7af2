"""Numbers written out in a text, each with its unit where one follows, and whether it is told as a bound.

Names of units are those of Unicode's locale data. Words that make a number a bound (above, at least ...) are known of the
languages listed here; in another language no number is taken for one.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from babel.units import format_unit

from heartlevel.ruling.language.template import locale_of

PERCENT = "%"
# UCUM code of a unit, as facts have it, to what the locale data call it.
UNITS = {
    "s": "duration-second", "min": "duration-minute", "h": "duration-hour", "d": "duration-day", "wk": "duration-week",
    "mo": "duration-month", "a": "duration-year", "cm": "length-centimeter", "mm[Hg]": "pressure-millimeter-ofhg",
    PERCENT: "concentr-percent",
}  # fmt: skip
SYMBOLS = {"mmHg": "mm[Hg]", "%": PERCENT, "cm": "cm", "min": "min"}
BEFORE = {
    "en": "above|over|beyond|exceeds|exceeding|below|under|more than|less than|fewer than|at least|at most|up to|within",
    "es": "encima de|debajo de|más de|menos de|mayor de|menor de|mayor que|menor que|al menos|como máximo|hasta",
    "de": "über|unter|oberhalb von|unterhalb von|mehr als|weniger als|mindestens|höchstens|bis zu",
    "pt": "acima de|abaixo de|mais de|menos de|maior que|menor que|pelo menos|no máximo|até",
}
AFTER = {
    "en": "or more|or less|or above|or below|and more|and above",
    "es": "o más|o menos",
    "de": "oder mehr|oder weniger|und mehr",
    "pt": "ou mais|ou menos",
}
SLOT = re.compile(r"\{[^{}]*\}")
NUMBER = re.compile(r"(?<![\w.,:'-])\d+(?:[.,]\d+)?(?![\w:'-]|[.,]\d)")
JOINED = re.compile(r"\s*(?:[/–]|(?:to|or|and|a|al|o|y|u|bis|oder|und|ou|e)\s)\s*(?=[\d\0])")
WORD = re.compile(r"\s*(mm Hg|[^\W\d_]+|%)")
RATE = re.compile(r"\d+\s+(?:of|in|out of|de|de cada|von|em|em cada)\s+\d+")  # as in `1 of 1000`
TAKEN = re.compile(r"[\d.,\0]*\d|\0")
LETTERS = 4  # from how many letters on a name of a unit may have an ending


@dataclass(frozen=True, slots=True)
class WrittenNumber:
    """A number in a text, the unit that follows it (UCUM, or %; None where none does), and whether it is a bound."""

    value: float
    unit: str | None
    is_bound: bool


def numbers_in(text: str, language: str) -> Iterator[WrittenNumber]:
    """Yield the numbers written out in a text; what stands in braces is none, nor are the two of a rate."""
    plain = RATE.sub("\0", SLOT.sub("\0", text))
    before, after = (re.compile(rf"\b(?:{words[language]})\s*$", re.IGNORECASE) if language in words else None
                     for words in (BEFORE, AFTER))  # fmt: skip
    behind = re.compile(rf"\s*\S*\s*(?:{AFTER[language]})\b", re.IGNORECASE) if after else None
    for match in NUMBER.finditer(plain):
        is_bound = bool(before and before.search(plain[: match.start()])) or bool(
            behind and behind.match(plain[match.end() :])
        )
        yield WrittenNumber(float(match[0].replace(",", ".")), _unit_after(plain, match.end(), language), is_bound)


def _unit_after(text: str, end: int, language: str) -> str | None:
    """Return the unit behind a number, or behind the numbers it is joined with, as in `20/10 mmHg` and `37 to 50 %`."""
    while (joined := JOINED.match(text, end)) and (number := TAKEN.match(text, joined.end())):
        end = number.end()
    word = WORD.match(text, end)
    return _unit_called(word[1], language) if word else None


@lru_cache(maxsize=4096)
def _unit_called(word: str, language: str) -> str | None:
    if word in SYMBOLS:
        return SYMBOLS[word]
    spoken = word.casefold()
    for name, unit in _names(language).items():
        if spoken == name or (len(name) >= LETTERS and spoken.startswith(name)):
            return unit
    return None


@lru_cache
def _names(language: str) -> Mapping[str, str]:
    """Return the names of units in a language; single letters are none, for words of a sentence may be such."""
    written = {
        WORD.sub(r"\1", format_unit(count, name, length=length, locale=locale_of(language)).lstrip("0123456789.,")): unit
        for unit, name in UNITS.items()
        for count in (1, 2, 5)
        for length in ("long", "short")
    }
    return {name.strip(" .\xa0").casefold(): unit for name, unit in written.items() if len(name.strip(" .\xa0")) > 1}
