"""How else than in the declared way numbers, flags and names may be written, in requests and tables alike."""

from re import compile as pattern

NUMBER = pattern(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
THOUSANDS = pattern(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # or a number with three decimals: cannot be told
FLAGS = {"true": True, "false": False}
BETWEEN_WORDS = pattern(r"[\s_./\[\]-]+")
LONGEST_NUMBER, LONGEST_WORD = 40, 64


def number_written(text: str) -> float | None:
    """Return the number a text is, its decimals after a point or a comma; None if it is no number, or may be two."""
    text = text.strip() if len(text) <= LONGEST_NUMBER else ""
    if not NUMBER.fullmatch(text) or THOUSANDS.fullmatch(text):
        return None
    return float(text.replace(",", "."))


def flag_written(text: str) -> bool | None:
    """Return what a word says of something being so; None if it says neither."""
    return FLAGS.get(text.strip().lower()) if len(text) <= LONGEST_WORD else None


def letters_of(name: str) -> str:
    """Return a name without what stands between its words, in small letters; names alike in that are one."""
    return BETWEEN_WORDS.sub("", name).casefold() if len(name) <= LONGEST_WORD else name
