"""What is legible of a table whose columns are not understood: rows with what stands under names of pressures."""

from itertools import islice
from typing import Any

from heartlevel.intake.texts.json_text import Repeated
from heartlevel.intake.texts.legible_object import NAMED, OF_BOTH
from heartlevel.intake.written import letters_of

DELIMITERS = ",;\t|"  # of a table as text, the first that its head has most of
MOST_ROWS, MOST_CELLS = 5_000, 200
SYMPTOM_CELLS, OF_SYMPTOMS = "symptoms", frozenset({"symptom", "symptoms", "subjectsymptoms"})
UNIT_BEGINS = "(["  # of a column named with it


def legible_rows(table: bytes) -> list[dict[str, Any]]:
    """Return a row a line after the first, of the cells that may be pressures or symptoms; no other is looked at."""
    header, *lines = table.decode("utf-8", "replace").removeprefix("\ufeff").splitlines() or [""]
    delimiter = max(DELIMITERS, key=header.count)
    names = [_name_of(cell) for cell in header.split(delimiter)[:MOST_CELLS]]
    wanted = [column for column, name in enumerate(names) if name in NAMED or name in OF_BOTH or name == SYMPTOM_CELLS]
    return [_row(names, wanted, line.split(delimiter)) for line in islice(lines, MOST_ROWS)] if wanted else []


def _name_of(cell: str) -> str:
    name = cell.strip(' "')
    for mark in UNIT_BEGINS:
        name = name.partition(mark)[0]
    letters = letters_of(name)
    return SYMPTOM_CELLS if letters in OF_SYMPTOMS else letters


def _row(names: list[str], wanted: list[int], cells: list[str]) -> dict[str, Any]:
    values: dict[str, list[str]] = {}
    for column in wanted:
        if column < len(cells):
            values.setdefault(names[column], []).append(cells[column].strip(' "'))
    return {name: Repeated(tuple(given)) if len(given) > 1 else given[0] for name, given in values.items()}
