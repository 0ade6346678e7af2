"""Where in the inputs something could not be read, and what kind of fault it is; never a value."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol

from heartlevel.bulk.grouping import Bad
from heartlevel.bulk.parts import Item, Line
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


def placed(naming: Naming, item: Item, made: Made | None, outcome: Outcome | None) -> list[Place]:
    """Return everything that could not be read of an item."""
    if isinstance(item, Bad):
        return [Place(naming.names[item.input], item.line, None, None, item.code, ABOUT_ROWS[item.code])]
    assert outcome is not None
    found = _problems(outcome)
    if isinstance(item, Line):
        return [*_as_a_whole(outcome, naming.names[item.input], item.line, bool(found)),
                *(_in_request(one, naming.names[item.input], item.line) for one in found)]  # fmt: skip
    assert made is not None
    first_input, first_line, _ = made.rows[0]
    return [*_as_a_whole(outcome, naming.names[first_input], first_line, bool(found)),
            *(_in_rows(one, naming, made) for one in found), *_differing(naming, made)]  # fmt: skip


def _problems(outcome: Outcome) -> list[Problem]:
    if outcome.answer is not None:
        return [Problem(**one) for one in outcome.answer["problems"]]
    return list(outcome.problems)


def _as_a_whole(outcome: Outcome, name: str, line: int, said: bool) -> Iterator[Place]:
    """Name what is wrong with a line as a whole, unless its problems say it."""
    if outcome.answer is None and not said:
        yield Place(name, line, None, None, outcome.code, outcome.detail)


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
