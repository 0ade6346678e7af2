"""A first file that says what the columns of a table mean, written from its header for a person to look over."""

from collections.abc import Sequence
from re import compile as pattern

import yaml

from heartlevel.tables.fields import FIELDS, TableFields
from heartlevel.tables.guesses import Guess, guessed
from heartlevel.tables.meanings import Mapped, missing_columns
from heartlevel.vocabulary import PRESSURES

PLAIN = pattern(r"[A-Za-z][A-Za-z0-9_]*( [A-Za-z0-9_]+)*")
HEAD = (
    "# Guessed from the header alone. Look each line over, then see what it makes of the table:",
    "#     heartlevel assess FILE --columns THIS-FILE --dry-run",
)
AT_THE_END = (
    '# time_format: "%d.%m.%Y %H:%M"   # where times are not written as 2026-03-02 07:10',
    "# time_zone: Europe/Oslo          # where times have no offset",
    '# decimal: ","                    # where numbers are not written with a point',
)
NEEDED = "{name}: every row needs it and no column was found"


def first_mapping(names: Sequence[str], fields: TableFields = FIELDS) -> str:
    """Return the file: what is guessed as columns of the fields there are, all else as comments."""
    guesses = _without_doubtful_units(list(guessed(names, fields)))
    known = [f"  {_line(guess)}" for guess in guesses if guess.field is not None]
    unknown = [f"  # {written(guess.column)}: ...   # no field was found for it: map it, or name it under `ignore`"
               for guess in guesses if guess.field is None]  # fmt: skip
    columns = ["columns:", *known, *unknown] if known else ["columns: {}", *unknown]
    mapped = [guess.field for guess in guesses if guess.field]
    missing = missing_columns(mapped, Mapped())
    fixed = ["# fixed:   # what all rows say", *(f"#   {NEEDED.format(name=name)}" for name in missing)] if missing else []
    return "\n".join([*HEAD, *columns, *fixed, *AT_THE_END]) + "\n"


def _without_doubtful_units(guesses: list[Guess]) -> list[Guess]:
    """Leave the pressures to the reader where only one of them has a unit: no file can say that of two."""
    pressures = [guess for guess in guesses if guess.field in PRESSURES]
    if len({guess.unit for guess in pressures}) < 2:
        return guesses
    return [Guess(guess.column, None) if guess in pressures else guess for guess in guesses]


def _line(guess: Guess) -> str:
    meaning = f"{{to: {guess.field}, unit: {guess.unit}}}" if guess.unit else guess.field
    return f"{written(guess.column)}: {meaning}{'   # a near match: is it so?' if guess.near else ''}"


def written(name: str) -> str:
    """Return a name as a key of YAML, on one line."""
    if PLAIN.fullmatch(name):
        return name
    text: str = yaml.safe_dump(name, default_style='"', width=float("inf"), allow_unicode=True)
    return text.strip()
