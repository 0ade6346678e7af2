"""What a table records, as columns of facts: a row a reading, or a row a subject."""

from datetime import date

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.intake.batch import circumstance_column, listed, ordinal
from heartlevel.intake.columnwise import Column
from heartlevel.intake.recorded import DEVICE, READING, SUBJECT, Recorded
from heartlevel.intake.table_columns import COLUMN_AT
from heartlevel.intake.table_columns import DEVICE as OF_DEVICE
from heartlevel.intake.table_columns import READING as OF_READING
from heartlevel.intake.table_columns import SUBJECT as OF_SUBJECT
from heartlevel.intake.tabular import Cells, first_of_subject
from heartlevel.vocabulary import CIRCUMSTANCES, SIDES


def facts_of_readings(cells: Cells, rows: Ints) -> dict[str, Floats]:
    """Return what is recorded of readings and their devices, for some rows."""
    found = {one.fact: _recorded(cells, OF_READING, one)[rows] for one in READING}
    found |= {one.fact: _recorded(cells, OF_DEVICE, one)[rows] for one in DEVICE}
    checked = cells.columns.get("device.checked_on")
    device, unknown = cells.columns.get("device"), np.full(len(rows), np.nan)
    found["device_number"] = unknown if device is None else _numbers(device)[rows]
    found["device_checked_on"] = unknown if checked is None else _ordinals(checked)[rows]
    column = cells.columns.get("circumstances")
    for name in CIRCUMSTANCES:
        found[circumstance_column(name)] = _listed(column, name, len(cells.kept))[rows]
    return found


def _numbers(device: Column) -> Floats:
    """Number the devices by their names."""
    names = device.held or []
    number = {name: float(place) for place, name in enumerate(names)}
    return device.looked_up([number[name] for name in names])


def _ordinals(day: Column) -> Floats:
    return day.looked_up([ordinal(one) for one in day.held or ()])


def _recorded(cells: Cells, of: str, one: Recorded) -> Floats:
    column = cells.columns.get(COLUMN_AT[of, one.path])
    return np.full(len(cells.kept), np.nan) if column is None else column.codes


def _listed(column: Column | None, name: str, size: int) -> Floats:
    """Return whether a thing was listed; unknown where no list was given."""
    if column is None:
        return np.full(size, np.nan)
    said = [listed(one, name) for one in column.held or ()]
    return column.looked_up([np.nan if one is None else float(one) for one in said])


def facts_of_subjects(cells: Cells, as_of: date | None) -> dict[str, Floats]:
    """Return what is recorded of subjects who are not refused."""
    whole = {one.fact: _recorded(cells, OF_SUBJECT, one) for one in SUBJECT}
    avoided = cells.columns.get("subject.avoid_arms")
    around = {side: cells.columns.get(f"subject.arm_circumference_cm.{side}") for side in SIDES}
    size = len(cells.kept)
    for side in SIDES:
        column = around[side]
        whole[f"circumference_{side}"] = np.full(size, np.nan) if column is None else column.codes
        whole[f"avoid_{side}"] = _listed(avoided, side, size)
    since = cells.columns.get("subject.treatment_since")
    whole["treatment_since"] = np.full(size, np.nan) if since is None else _ordinals(since)
    subjects = len(cells.subjects)
    found = {name: first_of_subject(cells.subject_of, subjects, values)[~cells.refused] for name, values in whole.items()}
    found["as_of"] = np.full(int((~cells.refused).sum()), as_of.toordinal() if as_of else np.nan)
    return found
