"""What the fields of a table record, as columns of facts: a row a reading, or a row a subject."""

from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.intake.own.form import Form
from heartlevel.intake.recorded import Recorded
from heartlevel.tables.examined import Examined
from heartlevel.tables.field_columns import FieldColumn, first_known
from heartlevel.tables.fields import DEVICE, READING, SUBJECT, name_in_table

# Of a fact in some rows, NaN where it is not recorded; None where the table has no such column.
Source: TypeAlias = Callable[[Ints], Floats] | None


class RecordedFacts:
    """The facts recorded in a table."""

    def __init__(self, examined: Examined, form: Form) -> None:
        """Find the field of each fact of a form."""
        self._examined, columns = examined, examined.columns
        self._of_subjects = _sources(columns, SUBJECT, form.of_subjects)
        self._of_readings = _sources(columns, READING, form.of_readings) | _sources(columns, DEVICE, form.of_devices)
        self._of_readings["device_number"] = _source(columns.get(DEVICE))
        device = columns.get(DEVICE)
        self.device_names: Sequence[str | None] = (device and device.held) or ()
        period = columns.get(name_in_table(READING, ("period",)))
        self._of_readings["period_number"] = _source(period)
        self.period_names: Sequence[str | None] = (period and period.held) or ()

    def of_readings(self, rows: Ints) -> dict[str, Floats]:
        """Return what is recorded of readings and their devices in some of the rows examined."""
        unknown = _unknown(len(rows))
        return {name: source(rows) if source else unknown for name, source in self._of_readings.items()}

    def of_subjects(self, subjects: Ints) -> dict[str, Floats]:
        """Return what is recorded of subjects, which are clean and in order: the first that is said of each detail."""
        examined = self._examined
        rows = np.arange(examined.starts[subjects[0]], examined.starts[subjects[-1] + 1])
        owners = np.searchsorted(subjects, examined.subject_of[rows])
        owners[examined.doubtful[examined.subject_of[rows]]] = -1
        unknown = _unknown(len(subjects))
        return {
            name: first_known(owners, len(subjects), source(rows)) if source else unknown
            for name, source in self._of_subjects.items()
        }


def _unknown(size: int) -> Floats:
    """Return one column for all that the table does not have, not to be written to."""
    unknown = np.full(size, np.nan)
    unknown.flags.writeable = False
    return unknown


def _sources(columns: Mapping[str, FieldColumn], part: str, facts: Sequence[Recorded]) -> dict[str, Source]:
    return {fact.fact: _source(columns.get(name_in_table(part, fact.path)), fact) for fact in facts}


def _source(column: FieldColumn | None, fact: Recorded | None = None) -> Source:
    if column is None:
        return None
    if column.held is None or fact is None or fact.code is None:
        return lambda rows: column.codes[rows]
    numbers = [fact.code(thing) for thing in column.held]
    return lambda rows: column.at(rows).looked_up(numbers)
