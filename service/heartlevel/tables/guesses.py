"""What columns with names of somebody's own may mean: guessed of the names alone, for a person to look over."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from re import IGNORECASE
from re import compile as pattern

from heartlevel.intake.written import letters_of
from heartlevel.tables.fields import FIELDS, READING, SUBJECT, TableFields, field_name
from heartlevel.tables.mapping import units_of
from heartlevel.vocabulary import KPA, MMHG, PRESSURE_NAMES

TIME = "taken_at"
NEAR = 0.8  # how alike a name must be to one that is known
LONGEST = 80
# Common practice: how tables of readings are usually headed.
USUAL_NAMES = {
    SUBJECT: ("patient", "patient id", "patient number", "person", "participant", "subject id", "subject number"),
    TIME: ("date", "time", "day", "hour", "date time", "date and time", "time stamp", "measured at", "taken", "taken on"),
    "systolic": (*PRESSURE_NAMES["systolic"], "upper"),
    "diastolic": (*PRESSURE_NAMES["diastolic"], "lower"),
    "pulse": ("hr", "heart rate", "pulse rate", "bpm"),
    "unit": ("units",),
    "setting": ("where", "place", "location", "taken in", "where taken"),
    "taken_by": ("measured by", "by whom", "observer", "operator"),
    "site": ("arm", "limb", "cuff site", "side"),
    "device": ("device id", "monitor"),
    "subject.age_years": ("age", "age in years", "years"),
}
UNIT = pattern(
    r"[\s_(\[]+(?:in\s+)?(mm\s?\[?hg\]?|kpa|/min|bpm|cm|mm|inch(?:es)?|in|min(?:utes)?|hours|years|[msh])[)\]]*$",
    IGNORECASE,
)
UNITS_WRITTEN = {"mmhg": MMHG, "mm[hg]": MMHG, "mm hg": MMHG, "kpa": KPA, "inch": "in", "inches": "in", "minutes": "min",
                 "hours": "h"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Guess:
    """What a column may mean: a field, and its unit where that is written and another than the field's."""

    column: str
    field: str | None
    unit: str | None = None
    near: bool = False  # the name is only like one that is known


def guessed(names: Sequence[str], fields: TableFields = FIELDS) -> Iterator[Guess]:
    """Yield a guess for each column, at the fields there are.

    Of several for one field the first counts, but for times of different columns, which are joined.
    """
    taken, columns = set[str](), set[str]()
    known = _names_of(fields)
    for name in names:
        guess = _guess(name.strip(), fields, known)
        if guess.field in taken and (guess.field != TIME or guess.column in columns):
            guess = Guess(guess.column, None)
        columns.add(guess.column)
        if guess.field is not None:
            taken.add(guess.field)
        yield guess


def likely_columns(field: str, names: Sequence[str]) -> list[str]:
    """Return the columns that may be meant for a field."""
    return [guess.column for guess in guessed(names) if guess.field == field]


def _guess(name: str, fields: TableFields, known: Mapping[str, str]) -> Guess:
    if field_name(name) in fields:
        return Guess(name, field_name(name))
    unit = UNIT.search(name[:LONGEST])
    letters = letters_of(name[: unit.start()] if unit else name[:LONGEST])
    near = get_close_matches(letters, known, n=1, cutoff=NEAR)
    field = known.get(letters) or (known[near[0]] if near else None)
    if field is None:
        return Guess(name, None)
    written = unit[1].lower() if unit else ""
    theirs = UNITS_WRITTEN.get(written, written)
    other = theirs in units_of(fields[field]) and theirs != (fields[field].unit or MMHG)
    return Guess(name, field, theirs if other else None, letters not in known)


def _names_of(fields: TableFields) -> dict[str, str]:
    """Return fields by names in small letters: their own, the last parts of these, and what is usual."""
    last_parts = {letters_of(field.path[-1]): name for name, field in fields.items() if field.part == READING}
    own = {letters_of(name): name for name in fields}
    usual = {letters_of(other): name for name, others in USUAL_NAMES.items() for other in others}
    return last_parts | own | usual
