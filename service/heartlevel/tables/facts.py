"""What the fields of a table record, as columns of facts: a row a reading, or a row a subject."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.intake import recorded
from heartlevel.intake.batch import circumstance_column, listed, ordinal
from heartlevel.tables.examined import Examined
from heartlevel.tables.field_columns import FieldColumn, first_known
from heartlevel.tables.fields import DEVICE, NAMES, READING, SUBJECT
from heartlevel.vocabulary import CIRCUMSTANCES, SIDES


@dataclass(frozen=True, slots=True)
class _Source:
    """Where a fact comes from: what a field holds, or a number for each of the things held."""

    column: FieldColumn | None
    numbers: Sequence[float] | None = None

    def at(self, rows: Ints) -> Floats:
        """Return the fact in some rows; NaN is not recorded."""
        if self.column is None:
            return np.full(len(rows), np.nan)
        column = self.column.at(rows)
        return column.codes if self.numbers is None else column.looked_up(self.numbers)


class RecordedFacts:
    """The facts recorded in a table."""

    def __init__(self, examined: Examined) -> None:
        """Find each fact's field."""
        self._examined = examined
        columns = examined.columns
        self._of_readings = _declared(columns, READING, recorded.READING) | _declared(columns, DEVICE, recorded.DEVICE)
        self._of_readings["device_number"] = _Source(columns.get("device"))
        self._of_readings["device_checked_on"] = _day(columns.get("device.checked_on"))
        for name in CIRCUMSTANCES:
            self._of_readings[circumstance_column(name)] = _listed(columns.get("circumstances"), name)
        self._of_subjects = _declared(columns, SUBJECT, recorded.SUBJECT)
        self._of_subjects["treatment_since"] = _day(columns.get("subject.treatment_since"))
        for side in SIDES:
            self._of_subjects[f"circumference_{side}"] = _Source(columns.get(f"subject.arm_circumference_cm.{side}"))
            self._of_subjects[f"avoid_{side}"] = _listed(columns.get("subject.avoid_arms"), side)

    def of_readings(self, rows: Ints) -> dict[str, Floats]:
        """Return what is recorded of readings and their devices in some of the rows examined."""
        return {name: source.at(rows) for name, source in self._of_readings.items()}

    def of_subjects(self, subjects: Ints) -> dict[str, Floats]:
        """Return what is recorded of subjects, which are clean and in order: the first that is said of each detail."""
        examined = self._examined
        rows = np.arange(examined.starts[subjects[0]], examined.starts[subjects[-1] + 1])
        owners = np.searchsorted(subjects, examined.subject_of[rows])
        owners[examined.doubtful[examined.subject_of[rows]]] = -1
        return {name: first_known(owners, len(subjects), source.at(rows)) for name, source in self._of_subjects.items()}


def _declared(columns: Mapping[str, FieldColumn], part: str, facts: Sequence[recorded.Recorded]) -> dict[str, _Source]:
    return {fact.fact: _Source(columns.get(NAMES[part, fact.path])) for fact in facts}


def _day(column: FieldColumn | None) -> _Source:
    return _Source(column, [ordinal(day) for day in _held(column)])


def _listed(column: FieldColumn | None, name: str) -> _Source:
    """Return whether a thing was listed; unknown where no list was given."""
    there = [listed(items, name) for items in _held(column)]
    return _Source(column, [np.nan if known is None else float(known) for known in there])


def _held(column: FieldColumn | None) -> Sequence[Any]:
    return (column.held or ()) if column else ()
