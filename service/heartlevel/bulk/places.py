"""Where in the inputs something could not be read, and what kind of fault it is; never a value."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from heartlevel.bulk.grouping import Bad
from heartlevel.bulk.parts import Line
from heartlevel.intake.faults import DETAILS, Problem
from heartlevel.one_call import Outcome
from heartlevel.tables.rows import NO_SUBJECT, ROWS_DIFFER, CellOrigin, DecodedRows

ABOUT_ROWS = {
    "damaged": "the file is damaged or cut off; what follows this place was not read",
    "line-too-long": "the line is longer than allowed",
    "not-utf-8": "the line is not UTF-8",
    "not-csv": "the row is not CSV",
    "cells-differ": "the row has more or fewer cells than the header",
    "subject-returned": "rows of this subject came before, apart from these; the row was left out (see --grouped)",
}
ABOUT_ROWS |= dict([NO_SUBJECT, ROWS_DIFFER])
# Where the usual words would make no sense without the value.
WITHOUT_VALUE = {
    "id-repeated": "the id is used more than once",
    "unit-mistaken": "no blood pressure is that high in kPa",
}
# Hints about these tell a name that could have been meant, never what was found.
NAMES_OURS = ("unknown-key", "not-one-of")
FOUND = "found {found}; expected "


@dataclass(frozen=True, slots=True)
class Place:
    """One line of the file of problems. `column` is there for tables, `pointer` for what is wrong within a request."""

    input: str
    line: int
    pointer: str | None
    column: str | None
    code: str
    detail: str

    def as_dict(self) -> dict[str, Any]:
        """Return it as it is written."""
        return asdict(self)


def unreadable(names: Sequence[str], bad: Bad) -> Place:
    """Return the place of a row, or input, that is none. `names` are those of the inputs."""
    return Place(names[bad.input], bad.line, None, None, bad.code, ABOUT_ROWS[bad.code])


def in_line(names: Sequence[str], line: Line, problems: Sequence[Problem], refused: Outcome | None) -> list[Place]:
    """Return everything that could not be read of a request."""
    decoded = DecodedRows({}, {"": CellOrigin(line.input, line.line)})
    return in_rows(names, decoded, problems, refused)


def in_rows(
    names: Sequence[str], decoded: DecodedRows, problems: Sequence[Problem], refused: Outcome | None = None
) -> list[Place]:
    """Return everything that could not be read of the request that a subject's rows make."""
    places = [*_as_a_whole(names, decoded, None if problems else refused)]
    places += [_place(names, decoded, fault) for fault in problems]
    return places + [Place(names[cell.input], cell.line, None, cell.column, *ROWS_DIFFER) for cell in decoded.differing]


def _as_a_whole(names: Sequence[str], decoded: DecodedRows, refused: Outcome | None) -> Iterator[Place]:
    """Name what is wrong with a request as a whole."""
    if refused is not None and (first := decoded.origin_of("")):
        yield Place(names[first.input], first.line, None, None, refused.code, refused.detail)


def _place(names: Sequence[str], decoded: DecodedRows, fault: Problem) -> Place:
    cell = decoded.origin_of(fault.pointer)
    assert cell is not None
    return Place(names[cell.input], cell.line, fault.pointer, cell.column, fault.code, _worded(fault.code))


def _worded(code: str) -> str:
    """Word a problem without what was there. What is no fault of form is doubtful by a rule of that name."""
    if code in DETAILS:
        return WITHOUT_VALUE.get(code) or DETAILS[code].format(found="a value", expected="what the field takes")
    return "doubtful as entered; the finding of this rule says why"


def without_value(fault: Problem) -> str:
    """Say what is wrong and what was expected, but not what was there."""
    template, hint = DETAILS.get(fault.code, ""), fault.hint or ""
    if template and "{found}" not in template:
        words = fault.detail
    elif template.startswith(FOUND):
        words = f"expected {fault.detail.rpartition('; expected ')[2]}"
    else:
        words = _worded(fault.code)
    return f"{words} ({hint})" if fault.code in NAMES_OURS and hint.startswith("did you mean") else words
