"""How else than as declared a value may be written, as a schema: `x-also-read` of a field in the contract.

What the schema of a field takes is what a client is to write. What is in `x-also-read` is read without a problem, too. The
patterns are those by which values are read (`intake/written.py`), as far as a pattern can say it.
"""

from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import Choice, Day, Flag, Number
from heartlevel.intake.written import (
    BETWEEN_WORDS,
    DAY,
    LONGEST_NUMBER,
    LONGEST_TIME,
    LONGEST_WORD,
    NUMBER,
    THOUSANDS,
    WRITTEN_TIME,
    letters_of,
)  # fmt: skip

BETWEEN = BETWEEN_WORDS.pattern.removesuffix("+") + "*"
TIMES = f"(?:{WRITTEN_TIME.pattern})"


def also_read(field: fields.Field[Any]) -> dict[str, Any] | None:
    """Return the schema of how else a field of a request may be written; None where nothing else is read."""
    match field:
        case Number(exact=False):
            return text_like(rf"(?!\s*{THOUSANDS.pattern}\s*$)\s*(?:{NUMBER.pattern})\s*", LONGEST_NUMBER)
        case Flag(exact=False):
            return text_like(r"\s*(?:[tT][rR][uU][eE]|[fF][aA][lL][sS][eE])\s*", LONGEST_WORD)
        case Choice(exact=False):
            return word_like(field.names)
        case Day():
            return text_like(rf"\s*{TIMES}\s*|{DAY.pattern}", LONGEST_TIME)
    return None


def text_like(pattern: str, longest: int) -> dict[str, Any]:
    """Return the schema of a text that is whole as a pattern says."""
    return {"type": "string", "maxLength": longest, "pattern": f"^(?:{pattern})$"}


def word_like(names: tuple[str, ...]) -> dict[str, Any]:
    """Return the schema of a name, whatever its case and what stands between its words."""
    spelled = ("".join(BETWEEN + _either_case(letter) for letter in letters_of(name)) + BETWEEN for name in names)
    return text_like("|".join(spelled), LONGEST_WORD)


def _either_case(letter: str) -> str:
    return f"[{letter}{letter.upper()}]" if letter.isalpha() else letter
