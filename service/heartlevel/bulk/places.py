"""Where in the inputs something could not be read, and what kind of fault it is; never a value."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol

from heartlevel.bulk.grouping import Bad
from heartlevel.bulk.parts import Line
from heartlevel.bulk.rows import Made
from heartlevel.bulk.tables import Layout
from heartlevel.intake.faults import DETAILS, Problem
from heartlevel.one_call import Outcome

ABOUT_ROWS = {
    "damaged": "the file is damaged or cut off; what follows this place was not read",
    "line-too-long": "the line is longer than allowed",
    "not-utf-8": "the line is not UTF-8",
    "not-csv": "the row is not CSV",
    "cells-differ": "the row has more or fewer cells than the header",
    "no-subject": "the row names no subject",
    "subject-returned": "rows of this subject came before, apart from these; the row was left out (see --grouped)",
    "rows-differ": "an earlier row of this subject, or device, says otherwise; the earlier one was taken",
}
# Where the usual words would make no sense without the value.
WITHOUT_VALUE = {
    "id-repeated": "the id is used more than once",
    "unit-mistaken": "no blood pressure is that high in kPa",
}
# Hints about these tell a name that could have been meant, never what was found.
NAMES_OURS = ("unknown-key", "not-one-of")
FOUND = "found {found}; expected "


class Naming(Protocol):
    """What places are named from."""

    @property
    def names(self) -> Sequence[str]:
        """Names of the inputs."""

    @property
    def layouts(self) -> Mapping[int, Layout]:
        """Columns of the tables among them."""


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


def unreadable(naming: Naming, bad: Bad) -> Place:
    """Return the place of a row, or input, that is none."""
    return Place(naming.names[bad.input], bad.line, None, None, bad.code, ABOUT_ROWS[bad.code])


def in_line(naming: Naming, line: Line, problems: Sequence[Problem], refused: Outcome | None) -> list[Place]:
    """Return everything that could not be read of a request."""
    name = naming.names[line.input]
    return [*_as_a_whole(refused, name, line.line, bool(problems)),
            *(_in_request(one, name, line.line) for one in problems)]  # fmt: skip


def in_rows(naming: Naming, made: Made, problems: Sequence[Problem], refused: Outcome | None = None) -> list[Place]:
    """Return everything that could not be read of a subject's rows."""
    if not problems and not refused and not made.differing:
        return []
    first_input, first_line, _ = made.rows[0]
    return [*_as_a_whole(refused, naming.names[first_input], first_line, bool(problems)),
            *(_in_rows(one, naming, made) for one in problems), *_differing(naming, made)]  # fmt: skip


def _as_a_whole(refused: Outcome | None, name: str, line: int, said: bool) -> Iterator[Place]:
    """Name what is wrong with a line as a whole, unless its problems say it."""
    if refused is not None and not said:
        yield Place(name, line, None, None, refused.code, refused.detail)


def _in_request(one: Problem, name: str, line: int) -> Place:
    return Place(name, line, one.pointer, None, one.code, _worded(one.code))


def _in_rows(one: Problem, naming: Naming, made: Made) -> Place:
    """Find the row and the column that a pointer into the request made from them stands for."""
    _, part, *rest = [*one.pointer.split("/"), ""]
    at_row = part == "readings" and rest[0].isdigit()
    of_input, line, _ = made.rows[int(rest[0]) if at_row else 0]
    inner = ".".join(rest[1:] if part in ("readings", "devices") else rest).strip(".")
    name = {"readings": inner, "devices": f"device.{inner}"}.get(part, f"{part}.{inner}")
    return Place(naming.names[of_input], line, one.pointer, _column(naming, of_input, name), one.code, _worded(one.code))


def _column(naming: Naming, of_input: int, name: str) -> str | None:
    layout = naming.layouts[of_input]
    known = {"subject.id": "subject", "device.id": "device"}.get(name, name)
    paths = {known, known.removeprefix("device.")}
    return next((theirs for theirs, column in zip(layout.names, layout.columns, strict=True)
                 if column and column.to in paths), None)  # fmt: skip


def _differing(naming: Naming, made: Made) -> Iterator[Place]:
    for place, name in made.differing:
        of_input, line, _ = made.rows[place]
        yield Place(naming.names[of_input], line, None, _column(naming, of_input, name), "rows-differ",
                    ABOUT_ROWS["rows-differ"])  # fmt: skip


def _worded(code: str) -> str:
    """Word a problem without what was found. What is no fault of form is doubtful by a rule of that name."""
    if code in DETAILS:
        return WITHOUT_VALUE.get(code) or DETAILS[code].format(found="a value", expected="what the field takes")
    return "doubtful as entered; the finding of this rule says why"


def without_found(one: Problem) -> str:
    """Say what is wrong and what was expected, but not what was found."""
    template, hint = DETAILS.get(one.code, ""), one.hint or ""
    if template and "{found}" not in template:
        said = one.detail
    elif template.startswith(FOUND):
        said = f"expected {one.detail.rpartition('; expected ')[2]}"
    else:
        said = _worded(one.code)
    return f"{said} ({hint})" if one.code in NAMES_OURS and hint.startswith("did you mean") else said
