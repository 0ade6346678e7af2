"""What the columns of somebody's table mean, and how the cells in them are written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as attribute
from re import compile as pattern
from typing import Any

from heartlevel.intake.bluetooth.expanding import IN_BYTES, PAYLOAD
from heartlevel.intake.faults import near
from heartlevel.intake.own.form import PLAIN_FORM, Form
from heartlevel.tables.fields import LAID_OUT, REQUIRED, SUBJECT, TableField, TableFields, field_name, fields_of

REST = "everything-else"
# A hidden sheet of a log says what the words that can be chosen in it mean, whatever language they are in.
WORDS_SHEET, WORDS_HEAD = "(words)", ("field", "shown", "value")
INDEX = pattern(r"__index_level_\d+__")  # the rows' numbers or names, as pandas writes them to Parquet


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one column of theirs means."""

    field: TableField
    factor: float = 1.0
    values: Mapping[str, Any] = attribute(default_factory=dict)
    unit: str | None = None  # theirs, where the mapping says it

    @property
    def to(self) -> str:
        """The name of the field."""
        return self.field.name


@dataclass(frozen=True, slots=True)
class Mapped:
    """How a table is understood. Without more, columns are understood by our dotted names."""

    columns: Mapping[str, Meaning] = attribute(default_factory=dict)
    fixed: Mapping[str, Any] = attribute(default_factory=dict)  # what all rows say
    time_format: str | None = None
    decimal: str = "."
    delimiter: str | None = None
    ignore: tuple[str, ...] = ()
    form: Form = attribute(default=PLAIN_FORM, repr=False)  # whose fields columns may be of

    @property
    def fields(self) -> TableFields:
        """The columns there may be, by name."""
        return fields_of(self.form)

    def meaning_of(self, theirs: str) -> Meaning | None:
        """Return what a column means; None if it is not understood."""
        ours = field_name(theirs)
        return self.columns.get(theirs.strip()) or (Meaning(self.fields[ours]) if ours in self.fields else None)

    def ignored(self, theirs: str) -> bool:
        """Tell whether a column is left out knowingly."""
        beside = INDEX.fullmatch(theirs) or LAID_OUT.fullmatch(theirs.strip())
        return REST in self.ignore or theirs.strip() in self.ignore or bool(beside)


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of one table: their names, as they are told of, and what each means to us.

    `subject` is the number of the subject's column.
    """

    names: Sequence[str]
    meanings: Sequence[Meaning | None]
    subject: int

    def name_of(self, field: str) -> str | None:
        """Return the table's own name of the first column for a field."""
        names = zip(self.names, self.meanings, strict=True)
        return next((name for name, meaning in names if meaning and meaning.to == field), None)


def layout_of(names: Sequence[str], mapped: Mapped) -> Layout:
    """Lay out columns, of which one names the subject."""
    meanings = [mapped.meaning_of(name) for name in names]
    return Layout(names, meanings, next(at for at, meaning in enumerate(meanings) if meaning and meaning.to == SUBJECT))


def missing_columns(names: Sequence[str], mapped: Mapped) -> list[str]:
    """Return the fields that every row needs and no column holds."""
    there = _fields_in(names, mapped)
    held = IN_BYTES if PAYLOAD in there else ()
    needed = [name for name in REQUIRED if name not in there and name not in held]
    return [name for name in needed if name == SUBJECT or name not in mapped.fixed]


def repeated_columns(names: Sequence[str], mapped: Mapped) -> list[str]:
    """Return the fields that several columns hold; those of one time are joined."""
    there = _fields_in(names, mapped)
    return sorted({name for name in there if there.count(name) > 1 and name != "taken_at"})


def strange_columns(names: Sequence[str], mapped: Mapped) -> Iterator[tuple[str, str | None]]:
    """Yield the columns that are not understood and not left out knowingly, with a hint at what may be meant."""
    for name in names:
        if mapped.meaning_of(name) is None and not mapped.ignored(name):
            yield name, near(name.strip(), mapped.fields)


def _fields_in(names: Sequence[str], mapped: Mapped) -> list[str]:
    return [meaning.to for name in names if (meaning := mapped.meaning_of(name))]


def meanings_of_words(rows: Sequence[Sequence[str | None]]) -> dict[str, dict[str, str]]:
    """Return, by field, what each word that can be chosen means, in small letters; `rows` are its sheet."""
    meanings: dict[str, dict[str, str]] = {}
    for field, shown, value in (row[: len(WORDS_HEAD)] for row in rows[1:] if len(row) >= len(WORDS_HEAD)):
        if field and shown and value:
            meanings.setdefault(field_name(field), {})[shown.casefold()] = value
    return meanings
