"""Where in the inputs something could not be read, and what kind of fault it is; never a value."""

from collections.abc import Sequence
from dataclasses import dataclass

from heartlevel.bulk.parts.grouping import Unreadable
from heartlevel.intake.decoding import Remark
from heartlevel.intake.faults import DETAILS, Problem
from heartlevel.located import Judged, origin_in
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
    "key-repeated": "the key is there more than once in the same object",
    "id-repeated": "the id is used more than once",
    "unit-mistaken": "no blood pressure is that high in kPa",
}
# Hints about these tell a name that could have been meant, never what was found.
NAMES_OURS = ("unknown-key", "not-one-of")
FOUND = "found {found}; expected "


@dataclass(frozen=True, slots=True)
class InputProblem:
    """Something that could not be read, a line of the file of problems.

    `column` is there for tables, `pointer` for what is wrong within a request.
    """

    input: str
    line: int
    pointer: str | None
    column: str | None
    code: str
    detail: str
    urgency: str | None = None  # of what is legible where there is no answer; its level


def unreadable_problem(names: Sequence[str], unreadable: Unreadable) -> InputProblem:
    """Return what is wrong with a row, or with an input as a whole. `names` are those of the inputs."""
    words, code = ABOUT_ROWS[unreadable.code], unreadable.code
    return InputProblem(names[unreadable.input], unreadable.line, None, None, code, words, unreadable.urgency)


def input_problems(names: Sequence[str], judged: Judged) -> list[InputProblem]:
    """Return everything that could not be read of what was sent, or of the request that a subject's rows make."""
    sent, refused, told = judged.sent, judged.refused, list[InputProblem]()
    level = refused.urgency["level"] if refused and refused.urgency else None
    for fault in judged.problems:
        cell = origin_in(sent, fault.pointer)
        words = _worded(fault.code)
        told.append(InputProblem(names[cell.input], cell.line, fault.pointer, cell.column, fault.code, words, level))
    if refused is not None and not told:
        whole = origin_in(sent, "")
        told = [InputProblem(names[whole.input], whole.line, None, None, refused.code, refused.detail, level)]
    told += [_told(names, origin_in(sent, ""), remark) for remark in sent.remarks]
    if isinstance(sent, DecodedRows):
        told += [InputProblem(names[cell.input], cell.line, None, cell.column, *ROWS_DIFFER) for cell in sent.differing]
    return told


def _told(names: Sequence[str], whole: CellOrigin, remark: Remark) -> InputProblem:
    at = f"{remark.at}: " if remark.at else ""
    return InputProblem(names[whole.input], whole.line, None, None, remark.code, at + remark.text)


def _worded(code: str) -> str:
    """Word a problem without what was there. Any other code is that of the rule by which an entry is doubtful."""
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
