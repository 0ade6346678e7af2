"""How else than in the declared way numbers, flags and names may be written, in requests and tables alike."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from functools import cached_property, lru_cache, wraps
from re import compile as pattern
from typing import TypeVar

NUMBER = pattern(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
THOUSANDS = pattern(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # or a number with three decimals: cannot be told
FLAGS = {"true": True, "false": False}
BETWEEN_WORDS = pattern(r"[\s_./\[\]-]+")
BETWEEN_NAMES = ","  # where several are looked at together; no sign between words
# Letters of a name that may be misspelt: of three letters of `fall` many words are made.
SHORTEST_MISSPELT, LONGEST_MISSPELT = 6, 40
MOST_NAMES_KEPT = 4_096  # of those that were looked up already
LONGEST_NUMBER, LONGEST_WORD, LONGEST_TIME = 40, 64, 40
DAY = pattern(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# ISO 8601 as RFC 3339 has it, as databases write it (2026-03-02 07:10:00+01), and in its basic format (20260302T071000Z).
# Two digits of the year keep out days and months written first.
WRITTEN_TIME = pattern(
    r"((?:19|20|21)[0-9]{2}(?:-[0-9]{2}-[0-9]{2}|[0-9]{4}))(?:[Tt]| +)"
    r"([0-9]{2}(?::[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?|[0-9]{2}(?:[0-9]{2}(?:[.,][0-9]+)?)?))"
    r" ?([Zz]|UTC|[+-][0-9]{2}(?::?[0-9]{2})?)?"
)

# The way that nearly all write it, which Python reads as it is.
PLAIN_TIME = pattern(r"(?:19|20|21)[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?(?:Z|[+-][0-9]{2}:[0-9]{2})")

LookUp = TypeVar("LookUp", bound=Callable[[str], str | None])


def remembered(look_up: LookUp) -> LookUp:
    """Keep what short names were found to be. Long ones are looked up anew: thousands of them would fill the memory."""
    of_short = lru_cache(MOST_NAMES_KEPT)(look_up)

    @wraps(look_up)
    def looked_up(name: str) -> str | None:
        return of_short(name) if len(name) <= LONGEST_WORD else look_up(name)

    return looked_up  # type: ignore[return-value]


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


def letters_of_each(names: Sequence[str]) -> list[str]:
    """Return the letters of each name, of thousands in a few steps."""
    if any(len(name) > LONGEST_WORD or BETWEEN_NAMES in name for name in names):
        return [letters_of(name) for name in names]
    return BETWEEN_WORDS.sub("", BETWEEN_NAMES.join(names)).casefold().split(BETWEEN_NAMES) if names else []


class Meanings(dict[str, str]):
    """What names stand for, by their letters."""

    @cached_property
    def misspelt(self) -> tuple[dict[str, str], set[str], set[str], set[int]]:
        """Names by themselves and by what is left without a letter; their first two, last two; lengths of what is near."""
        long = [name for name in self if len(name) >= SHORTEST_MISSPELT]
        parts = {part: name for name in long for part in (*_without_a_letter(name), name)}
        lengths = {len(name) + more for name in long for more in (-1, 0, 1)}
        return parts, {name[:2] for name in long}, {name[-2:] for name in long}, lengths


def meant_by(letters: str, names: Meanings) -> str | None:
    """Return what a name stands for, or one that is a letter away: left out, too many, another, or two exchanged.

    What it returns is acted on: it is stricter than `faults.closest`, by which a name is suggested, and cheaper.
    """
    if letters in names or not SHORTEST_MISSPELT <= len(letters) <= LONGEST_MISSPELT:
        return names.get(letters)
    nearly, beginnings, ends, lengths = names.misspelt
    # Whichever letter is wrong, the first two or the last two of the name are right.
    if len(letters) not in lengths or (letters[:2] not in beginnings and letters[-2:] not in ends):
        return None
    parts = _without_a_letter(letters)
    return None if nearly.keys().isdisjoint(parts) else names[next(nearly[part] for part in parts if part in nearly)]


def _without_a_letter(name: str) -> list[str]:
    return [name, *[name[:at] + name[at + 1 :] for at in range(len(name))]]


def time_written(text: str) -> datetime | None:
    """Return the time that a text is, with its offset if it has one; None if it is no time."""
    if not PLAIN_TIME.fullmatch(text):
        parts = WRITTEN_TIME.fullmatch(text)
        if parts is None:
            return None
        day, clock, offset = parts.groups("")
        text = f"{day}T{clock}{'Z' if offset in ('z', 'UTC') else offset}"
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def day_written(text: str) -> date | None:
    """Return the date that a text is, or that of a time as it is written; None if it is neither."""
    try:
        moment = time_written(text.strip())
        return moment.date() if moment else date.fromisoformat(text) if DAY.fullmatch(text) else None
    except ValueError:
        return None
