"""What a caller says of a table and how it is to be judged: typed, checked, and wrong in words that name no cell."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Literal, TypedDict

from heartlevel.intake.faults import Problem, closest, near, problem
from heartlevel.intake.own.form import Form
from heartlevel.intake.request import RefusedRequest
from heartlevel.tables.cells import Cells, plain_value
from heartlevel.tables.field_columns import times_in
from heartlevel.tables.guesses import likely_columns
from heartlevel.tables.mapping import WrongMapping, mapped_from
from heartlevel.tables.meanings import Layout, Mapped, missing_columns, repeated_columns
from heartlevel.tables.written_times import format_fault

# These are about what a table does not show.
OF_REQUESTS_ONLY = ("strict", "explain", "detail", "also_under", "population")
WRONG_MAP = "wrong-map"


class TargetPressures(TypedDict, total=False):
    """A target in one setting, in mm[Hg]."""

    systolic: float
    diastolic: float


class TargetAsked(TypedDict, total=False):
    """The person's own target of treatment."""

    home: TargetPressures
    office: TargetPressures
    comparator: Literal["below", "at-most"]


class FrameOptions(TypedDict, total=False):
    """How to judge: the options of a request, as far as a table shows what they are about."""

    guideline: str
    protocol: str
    time_zone: str
    as_of: str | date
    target: TargetAsked
    language: str  # words are wanted too, in this language


class ColumnMeaning(TypedDict, total=False):
    """What a column means: the field `to`, the unit it is in, and what is written for which value."""

    to: str
    unit: str
    values: Mapping[str, Any]


class ColumnMap(TypedDict, total=False):
    """What a file of columns says (service/FILES.md)."""

    columns: Mapping[str, str | ColumnMeaning]
    fixed: Mapping[str, Any]
    time_format: str
    decimal: str
    ignore: Sequence[str] | str


class UnusableTable(RefusedRequest):
    """A table cannot be assessed; the text says all that is wrong with columns and options, and what may be meant."""

    def __init__(self, problems: list[Problem]) -> None:
        """Word the problems a line each: they name columns and options, never cells."""
        super().__init__(problems)
        self.args = ("\n".join(map(str, self.problems)),)


def mapped_as_asked(column_map: ColumnMap, names: Sequence[str], options: Mapping[str, Any], form: Form) -> Mapped:
    """Return how the columns of these names are understood, by the fields of a form, options among what all rows say.

    Raises UnusableTable.
    """
    try:
        mapped = mapped_from({name: value for name, value in column_map.items() if value is not None}, form)
    except WrongMapping as wrong:
        raise UnusableTable([Problem("", WRONG_MAP, fault) for fault in wrong.faults]) from None
    stripped = {name.strip() for name in names}
    strangers = [name for name in mapped.columns if name not in stripped]
    if strangers:
        raise UnusableTable([
            Problem(f"/{name}", WRONG_MAP, "the table has no such column", near(name, sorted(stripped)))
            for name in strangers
        ])  # fmt: skip
    fixed = {**mapped.fixed, **dict(_dotted(options, "options."))}
    return Mapped(mapped.columns, fixed, mapped.time_format, mapped.decimal, None, mapped.ignore, form)


def check_columns(names: Sequence[str], mapped: Mapped) -> None:
    """Raise UnusableTable where a required column is missing or one is there twice."""
    twice = {name for name in names if names.count(name) > 1} | set(repeated_columns(names, mapped))
    faults = [problem(f"/{name}", "id-repeated", name) for name in sorted(twice)]
    unread = [name for name in names if mapped.meaning_of(name) is None]
    faults += [
        problem(f"/{name}", "missing", expected="a column", hint=_meant(name, unread))
        for name in missing_columns(names, mapped)
    ]
    if faults:
        raise UnusableTable(faults)


def check_times(cells: Sequence[Cells], layout: Layout, mapped: Mapped) -> None:
    """Raise UnusableTable where the first times are not written in the format that was said."""
    if mapped.time_format is None:
        return
    texts = times_in(cells, layout.meanings, mapped.decimal)
    fault = format_fault(mapped.time_format, [(row, text) for row, text in enumerate(texts) if text], "row")
    if fault:
        raise UnusableTable([Problem("/time_format", WRONG_MAP, fault)])


def _meant(name: str, unread: Sequence[str]) -> str | None:
    """Return a hint at the columns that may be meant for a field."""
    likely = likely_columns(name, unread) or [column for column in [closest(name, unread)] if column]
    if not likely:
        return f"columns not understood: {', '.join(map(repr, unread))}" if 0 < len(unread) <= 40 else None
    pairs = ", ".join(f"{column!r}: {name!r}" for column in likely)
    return f"perhaps columns={{{pairs}}}"


def _dotted(options: Mapping[str, Any], outer: str) -> Iterator[tuple[str, Any]]:
    """Yield options by the names of columns."""
    for name, value in options.items():
        if isinstance(value, Mapping):
            yield from _dotted(value, f"{outer}{name}.")
        else:
            yield outer + name, plain_value(value)
