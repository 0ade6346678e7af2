"""Numbers of an answer as they stand on the page, each with the place in the answer that it was taken from."""

from collections.abc import Mapping
from typing import Any

from babel.numbers import format_decimal, format_percent
from markupsafe import Markup

from heartlevel.ruling.language.template import locale_of

UNKNOWN = "–"


class ToldNumbers:
    """Writes numbers of one answer as `data` elements of HTML; `data-at` is the JSON Pointer (RFC 6901) of the number."""

    def __init__(self, answer: Mapping[str, Any]) -> None:
        """Write numbers of an answer in its language."""
        self._answer, self._locale = answer, locale_of(answer["made_with"]["language"])

    def number(self, pointer: str, pattern: str = "0.#") -> Markup:
        """Return a number in a pattern of CLDR; a dash where it is not known."""
        value = self._at(pointer)
        return self._marked(pointer, value, format_decimal(value, pattern, self._locale) if value is not None else UNKNOWN)

    def share(self, pointer: str) -> Markup:
        """Return a share as a percentage; one that is neither none nor all is not told as 0 or 100 %."""
        value = self._at(pointer)
        if value is None:
            return self._marked(pointer, value, UNKNOWN)
        least = 0.01 if 0 < value < 0.005 else 0.99 if 0.995 <= value < 1 else None  # noqa: PLR2004 -- would round to none, or all
        text = format_percent(value if least is None else least, "0 %", self._locale)
        return self._marked(pointer, value, f"{'' if least is None else '<' if value < least else '>'}{text}")

    def pressure(self, pointer: str, key: str = "") -> Markup:
        """Return systolic and diastolic of an object, with `key` the number of each that is meant, such as its mean."""
        ends = (f"{pointer}/{pressure}{key}" for pressure in ("systolic", "diastolic"))
        return Markup("/").join(self.number(end, "0.0") for end in ends)

    def interval(self, pointer: str) -> Markup:
        """Return the ends of an interval; nothing where there is none."""
        if self._at(pointer) is None:
            return Markup("")
        return Markup(" – ").join(self.number(f"{pointer}/{end}", "0.0") for end in (0, 1))

    def _at(self, pointer: str) -> Any:
        value: Any = self._answer
        for part in pointer.split("/")[1:]:
            key = part.replace("~1", "/").replace("~0", "~")
            value = value[int(key)] if isinstance(value, list) else value[key]
            if value is None:
                return None
        return value

    @staticmethod
    def _marked(pointer: str, value: object, text: str) -> Markup:
        if value is None:
            return Markup("{}").format(text)
        return Markup('<data value="{}" data-at="{}">{}</data>').format(value, pointer, text)
