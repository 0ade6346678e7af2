"""From a table's cells to its readings in order: times, units, copies, names; no Python object a reading."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from heartlevel.columns import Floats, Ints
from heartlevel.intake.faults import padded, problem
from heartlevel.intake.moments import TimedReading, local_hour, moment_of, number_repeated_names, to_mmhg, without_copies
from heartlevel.intake.request import read_item
from heartlevel.intake.schema import HIGHEST_READABLE
from heartlevel.intake.table_columns import READING as OF_READING
from heartlevel.intake.table_columns import CellProblem
from heartlevel.intake.table_facts import facts_of_readings, facts_of_subjects
from heartlevel.intake.tabular import Cells
from heartlevel.intake.written_times import day_and_hour, moments
from heartlevel.vocabulary import KPA, MMHG_PER_KPA, UNITS

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Table:
    """A table's readings, sorted by subject and time, and its subjects, refused ones left out."""

    subjects: Sequence[str]
    unclear: Sequence[frozenset[str]]  # of each subject, as `Request.unclear`
    of_subject: Mapping[str, Floats]  # recorded facts, a row a subject
    readings: Mapping[str, Floats]  # recorded facts, a row a reading
    names: Sequence[str]
    rows: Ints  # each reading's row in the table
    subject_of: Ints
    instant: Floats
    day: Ints
    hour: Floats
    problems: Sequence[CellProblem]


class _Times:
    """When each row was taken. `texts` holds each row's time as it was written."""

    def __init__(self, cells: Cells, zone: ZoneInfo | None) -> None:
        written = zip(cells.columns["taken_at"].values(), cells.kept.tolist(), strict=True)
        self.texts = [text if known else "" for text, known in written]
        of = moments(self.texts, zone)
        self.instant, self.zone = of.instant, zone
        self.day, self.hour = day_and_hour(of.local)
        for row in np.flatnonzero(cells.kept & ~of.sure).tolist():
            self._alone(cells, row)

    def _alone(self, cells: Cells, row: int) -> None:
        moment, problems = moment_of(self.texts[row], self.zone, "/taken_at")
        cells.note(row, OF_READING, problems)
        if moment is None:
            cells.kept[row] = False
        else:
            self.instant[row], self.day[row] = moment.timestamp(), moment.toordinal()
            self.hour[row] = local_hour(moment)


def table_of(cells: Cells, zone: ZoneInfo | None, as_of: date | None) -> Table:
    """Put the rows that can be assessed in order of subject and time, pressures in mm[Hg], copies left out."""
    times = _Times(cells, zone)
    _convert(cells)
    rows = np.flatnonzero(cells.kept)
    rows = rows[np.lexsort((times.instant[rows], cells.subject_of[rows]))]
    rows = _without_copies(cells, times, rows)
    names = _names(cells, times, rows)
    place = np.cumsum(~cells.refused) - 1
    subjects = np.flatnonzero(~cells.refused).tolist()
    return Table(
        subjects=[cells.subjects[one] for one in subjects],
        unclear=[cells.unclear.get(one, frozenset()) for one in subjects],
        of_subject=facts_of_subjects(cells, as_of),
        readings=facts_of_readings(cells, rows),
        names=names,
        rows=rows,
        subject_of=place[cells.subject_of[rows]],
        instant=times.instant[rows],
        day=times.day[rows],
        hour=times.hour[rows],
        problems=sorted(set(cells.problems), key=lambda one: (one.row, one.column, one.code)),
    )


def _convert(cells: Cells) -> None:
    """Convert kilopascals; what was no blood pressure in kilopascals is left out, with the problem."""
    unit = cells.columns.get("unit")
    if unit is None:
        return
    in_kpa = cells.kept & (unit.codes == UNITS.index(KPA))
    mistaken = np.zeros(len(in_kpa), dtype=bool)
    columns = {name: cells.columns[name] for name in ("systolic", "diastolic")}
    converted = {name: column.codes * MMHG_PER_KPA for name, column in columns.items()}
    for values in converted.values():
        mistaken |= in_kpa & (values > HIGHEST_READABLE)
    for row in np.flatnonzero(mistaken).tolist():
        data = {name: float(column.codes[row]) for name, column in columns.items()} | {"unit": KPA}
        cells.note(row, OF_READING, _about_the_row(to_mmhg(data, 0)))
        cells.kept[row] = False
    in_mmhg = {name: np.where(in_kpa, converted[name], column.codes) for name, column in columns.items()}
    cells.columns = cells.columns | {name: replace(columns[name], codes=codes) for name, codes in in_mmhg.items()}


def _about_the_row(problems: Sequence[Any]) -> list[Any]:
    """Return problems of the first reading of a request as problems of a row."""
    return [type(one)(one.pointer.removeprefix("/readings/0"), one.code, one.detail, one.hint) for one in problems]


def _without_copies(cells: Cells, times: _Times, rows: Ints) -> Ints:
    """Leave out exact copies; order readings of one instant as in a request."""
    owner, instant = cells.subject_of[rows], times.instant[rows]
    same = (owner[1:] == owner[:-1]) & (instant[1:] == instant[:-1])
    if not same.any():
        return rows
    at = np.flatnonzero(np.append(False, same) | np.append(same, False))
    group = np.cumsum(np.append(True, ~same))[at].tolist()
    names = map(padded, _given_names(cells, times, rows[at]))
    pressures = [cells.columns[name].codes[rows[at]].tolist() for name in ("systolic", "diastolic")]
    keys = list(zip(group, names, *pressures, strict=True))
    order = sorted(range(len(keys)), key=keys.__getitem__)
    rows[at] = rows[at[order]]
    several = Counter(zip(group, *pressures, strict=True))
    alike = [of for (of, *_), count in several.items() if count > 1]
    return _without_copies_in(cells, times, rows, at[np.isin(group, alike)]) if alike else rows


def _without_copies_in(cells: Cells, times: _Times, rows: Ints, at: Ints) -> Ints:
    """Look at the whole of the readings at these places, of some instants with the same pressures more than once."""
    if cells.frame is None:
        for row in rows[at].tolist():
            cells.note(row, OF_READING, [problem("", "exact-duplicate")])
        return rows
    taken, there = _taken(cells, times, rows[at]), np.ones(len(rows), dtype=bool)
    for _, together in groupby(range(len(at)), key=lambda one: (cells.subject_of[taken[one].index], taken[one].instant)):
        places = list(together)
        several, copies = without_copies([taken[one] for one in places])
        for one in copies:
            cells.note(int(one.pointer.rpartition("/")[2]), OF_READING, [type(one)("", one.code, one.detail)])
        start, count = int(at[places[0]]), len(several)
        rows[start : start + count] = [one.index for one in several]
        there[start + count : start + len(places)] = False
    return rows[there]


def _taken(cells: Cells, times: _Times, rows: Ints) -> list[TimedReading]:
    """Return rows as readings of a request are kept, to be compared by the same code."""
    taken = []
    names = _given_names(cells, times, rows)
    for row, name, item in zip(rows.tolist(), names, cells.objects(OF_READING, rows), strict=True):
        data, _ = read_item(item, "readings", "")
        whole = data or {}
        to_mmhg(whole, 0)
        # The local time plays no part in the comparison.
        taken.append(TimedReading(float(times.instant[row]), EPOCH, name, row, whole))
    return taken


def _given_names(cells: Cells, times: _Times, rows: Ints) -> list[str]:
    given = cells.columns.get("id")
    if given is None:
        return [f"@{times.texts[row]}" for row in rows.tolist()]
    ids = given.values()
    return [ids[row] or f"@{times.texts[row]}" for row in rows.tolist()]


def _names(cells: Cells, times: _Times, rows: Ints) -> list[str]:
    """Name each reading; those of a subject that share a name are told apart as in a request."""
    names = _given_names(cells, times, rows)
    owner = cells.subject_of[rows]
    ids = cells.columns["id"].values() if "id" in cells.columns else None
    for subject in _sharing_names(owner, names, times.instant[rows] if ids is None else None):
        start, end = np.searchsorted(owner, [subject, subject + 1]).tolist()
        taken = [
            TimedReading(0.0, EPOCH, names[at], int(rows[at]), {"id": ids[rows[at]] if ids else None})
            for at in range(start, end)
        ]
        for one in number_repeated_names(taken):
            row = int(one.pointer.split("/")[2])
            cells.note(row, OF_READING, [type(one)("/id", one.code, one.detail, one.hint)])
        names[start:end] = [one.name for one in taken]
    return names


def _sharing_names(owner: Ints, names: Sequence[str], instant: Floats | None) -> list[int]:
    """Return the subjects of whom several readings share a name. Names made of times are shared only by one instant."""
    if instant is not None:
        alike = np.zeros(len(owner), dtype=bool)
        alike[1:] = (owner[1:] == owner[:-1]) & (instant[1:] == instant[:-1])
    else:
        alike = pd.DataFrame({"owner": owner, "name": pd.Series(names, dtype=object)}).duplicated().to_numpy()
    found: list[int] = np.unique(owner[alike]).tolist()
    return found
