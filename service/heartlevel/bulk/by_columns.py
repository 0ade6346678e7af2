"""Rows of whole subjects looked at by columns: batches of the subjects about whom nothing is doubtful.

The others are left to be read row by row, by which everything that is wrong is named.
"""

from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from functools import partial, reduce
from itertools import chain
from typing import Any

import numpy as np
import pyarrow

from heartlevel.assessment import Rules, sitting_gaps
from heartlevel.bulk.cells import Key, cells_as_values, columns_of, joined, value_at
from heartlevel.bulk.grouping import Group
from heartlevel.bulk.mapping import Mapped
from heartlevel.bulk.parts import Rows
from heartlevel.bulk.sheets import cells_of, from_bytes, lines_of, owners_of
from heartlevel.bulk.table_devices import same_device
from heartlevel.bulk.tables import Layout
from heartlevel.columns import Bools, Floats, Ints
from heartlevel.frames import TOGETHER
from heartlevel.intake.batch import Batch
from heartlevel.intake.columnwise import Column
from heartlevel.intake.request import MOST_READINGS, RefusedRequest, read_options
from heartlevel.intake.table_columns import COLUMN_AT, REQUIRED, SUBJECT
from heartlevel.intake.table_parts import batches
from heartlevel.intake.table_readings import Table, table_of
from heartlevel.intake.tabular import Cells, first_of_subject

OPTIONS = "options"
# What these ask for is done for each request alone.
ALONE = ("strict", "also_under")


@dataclass(slots=True)
class Looked:
    """Subjects, and where in the inputs each one's rows stand."""

    subjects: list[str]
    sheets: list[tuple[int, pyarrow.RecordBatch]]
    columns: dict[Key, Column]
    order: Ints  # of the rows of all sheets, so that those of a subject stand together
    subject_of: Ints
    doubtful: Bools  # by subject: to be read row by row
    starts: Ints = field(init=False)
    inputs: Ints = field(init=False)
    lines: Ints = field(init=False)

    def __post_init__(self) -> None:
        """Find where each row stands."""
        self.starts = np.searchsorted(self.subject_of, np.arange(len(self.subjects) + 1))
        self.inputs = np.repeat([number for number, _ in self.sheets], [len(rows) for _, rows in self.sheets])[self.order]
        self.lines = np.concatenate([lines_of(rows) for _, rows in self.sheets])[self.order]

    def rows_of(self, subject: int) -> list[tuple[int, int, list[Any]]]:
        """Return input and line of each row of a subject, without its cells."""
        part = slice(int(self.starts[subject]), int(self.starts[subject + 1]))
        return [(one, line, []) for one, line in zip(self.inputs[part].tolist(), self.lines[part].tolist(), strict=True)]

    def groups(self) -> dict[int, Group]:
        """Return the rows of the doubtful subjects."""
        found = {place: Group(self.subjects[place], []) for place in np.flatnonzero(self.doubtful).tolist()}
        for number, rows in self.sheets if found else ():
            owners, lines = owners_of(rows), lines_of(rows)
            at = np.flatnonzero(self.doubtful[owners])
            cells = cells_as_values(cells_of(rows), at)
            for owner, line, row in zip(owners[at].tolist(), lines[at].tolist(), cells, strict=True):
                found[owner].rows.append((number, line, row))
        return found


def looked_at(rows: Rows, layouts: Mapping[int, Layout], mapped: Mapped) -> Looked:
    """Look at the cells of all rows and mark the subjects about whom something is doubtful."""
    sheets = [(number, from_bytes(content)) for number, content in rows.by_input]
    owners = np.concatenate([owners_of(some) for _, some in sheets])
    order = np.argsort(owners, kind="stable")
    said = [columns_of(cells_of(some), layouts[number].columns, mapped) for number, some in sheets]
    sizes = [len(some) for _, some in sheets]
    keys = dict.fromkeys(chain.from_iterable(said))
    columns = {key: _ordered(joined([one.get(key) for one in said], sizes), order) for key in keys}
    found = Looked(rows.subjects, sheets, columns, order, owners[order], np.zeros(len(rows.subjects), dtype=bool))
    found.doubtful |= np.diff(found.starts) > MOST_READINGS
    _mark(found)
    return found


def _ordered(column: Column, order: Ints) -> Column:
    if bool((order[1:] > order[:-1]).all()):
        return column
    return replace(column, codes=column.codes[order], doubtful=column.doubtful[order])


def _mark(found: Looked) -> None:
    """Mark the subjects of rows in which something could not be read, is missing, or is said otherwise elsewhere."""
    rows = np.zeros(len(found.subject_of), dtype=bool)
    for key, column in found.columns.items():
        rows |= column.doubtful
        if COLUMN_AT.get(key) in REQUIRED:
            rows |= np.isnan(column.codes)
        if key[0] in (SUBJECT, OPTIONS):
            values = column.comparable()
            rows |= ~np.isnan(values) & (values != _first(found, values)[found.subject_of])
    rows |= same_device(found.columns, found.subject_of)
    found.doubtful[found.subject_of[rows]] = True


def _first(found: Looked, values: Floats) -> Floats:
    return first_of_subject(found.subject_of, len(found.subjects), values)


@dataclass(frozen=True, slots=True)
class Clean:
    """Subjects about whom nothing is doubtful: a batch, and their places among all that were looked at."""

    batch: Batch
    subjects: Ints


def clean_batches(found: Looked, rules: Rules) -> list[Clean]:
    """Return batches of the subjects about whom nothing is doubtful; marks those of whom that shows only now."""
    return [clean for options, subjects in _options(found) for clean in _batches(found, options, subjects, rules)]


def _options(found: Looked) -> list[tuple[dict[str, Any], Ints]]:
    """Return the options there are, each with the subjects they are for."""
    names = [key for key in found.columns if key[0] == OPTIONS]
    firsts = [_first(found, found.columns[key].codes).tolist() for key in names]
    subjects: dict[tuple[Any, ...], list[int]] = {}
    for place, codes in enumerate(zip(*firsts, strict=True) if names else [()] * len(found.subjects)):
        subjects.setdefault(tuple(None if one != one else one for one in codes), []).append(place)
    several = []
    for codes, places in subjects.items():
        known: dict[str, Any] = {}
        for key, code in zip(names, codes, strict=True):
            *outer, last = key[1]
            if code is not None:
                reduce(lambda at, one: at.setdefault(one, {}), outer, known)[last] = value_at(found.columns[key], code)
        several.append((known, np.array(places, dtype=np.int64)))
    return several


def _batches(found: Looked, options: dict[str, Any], subjects: Ints, rules: Rules) -> Iterator[Clean]:
    try:
        read, zone, as_of = read_options(options, rules.ruleset.choices)
    except RefusedRequest:
        found.doubtful[subjects] = True
        return
    if any(options.get(name) for name in ALONE):
        found.doubtful[subjects] = True
        return
    others = np.ones(len(found.subjects), dtype=bool)
    others[subjects] = False
    table = _table(found, others, zone, as_of)
    places = np.flatnonzero(~(others | found.doubtful))
    done = 0
    for batch in batches(table, read | {"as_of": as_of}, partial(sitting_gaps, rules=rules), TOGETHER):
        size = len(batch.requests)
        if size:
            yield Clean(batch, places[done : done + size])
        done += size


def _table(found: Looked, others: Bools, zone: Any, as_of: Any) -> Table:
    """Put the rows of clean subjects in order. Subjects of whom something cannot be read are left out after all."""
    columns = {name: column for key, column in found.columns.items() if (name := COLUMN_AT.get(key))}
    while True:
        refused = others | found.doubtful
        cells = Cells(None, copy(columns), ~refused[found.subject_of], found.subjects, found.subject_of, refused)
        table = table_of(cells, zone, as_of)
        if not table.problems:
            return replace(table, rows=table.rows - found.starts[found.subject_of[table.rows]])
        found.doubtful[found.subject_of[[one.row for one in table.problems]]] = True
