"""A column of a table looked at in one go by the field's own declaration; its doubtful rows are marked."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from marshmallow import fields
from pandas.api.types import infer_dtype, is_bool_dtype, is_float_dtype, is_integer_dtype

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.fields import Choice, Flag, Items, Number
from heartlevel.intake.screening import Unfit, look_at

BETWEEN_ITEMS = ";"


@dataclass(slots=True)
class Column:
    """What a field of all rows holds. `codes` are numbers as they stand in a column of facts.

    For texts and lists a code is the place in `held`. NaN is not recorded; `doubtful` rows are for marshmallow.
    """

    field: fields.Field[Any]
    codes: Floats
    doubtful: Bools
    held: list[Any] | None = None

    def put(self, row: int, value: Any) -> None:
        """Enter what marshmallow made of a doubtful row's value."""
        if value is None:
            self.codes[row] = np.nan
        elif self.held is not None:
            self.codes[row] = len(self.held)
            self.held.append(value)
        else:
            self.codes[row] = self.field.names.index(value) if isinstance(self.field, Choice) else float(value)

    def values(self) -> list[Any]:
        """Return the texts or lists of all rows, None where there is none."""
        held = [*(self.held or ()), None]
        places = self._places()
        if len(places) == len(held) - 1 and bool((places == np.arange(len(places))).all()):
            return held[:-1]  # each row holds something of its own
        return [held[code] for code in places.tolist()]

    def looked_up(self, values: Sequence[float]) -> Floats:
        """Return, by row, one of the values, of which there is one for each thing held; NaN where none is."""
        found: Floats = np.array([*values, np.nan], dtype=np.float64)[self._places()]
        return found

    def comparable(self) -> Floats:
        """Return the column so that equal things have equal numbers."""
        if self.held is None:
            return self.codes
        number: dict[Any, float] = {}
        keys = (tuple(one) if isinstance(one, list) else one for one in self.held)
        return self.looked_up([number.setdefault(key, float(len(number))) for key in keys])

    def _places(self) -> Ints:
        return np.where(np.isnan(self.codes), len(self.held or ()), self.codes).astype(np.int64)


def column_of(series: "pd.Series[Any]", field: fields.Field[Any]) -> Column:
    """Look at a column by its declaration."""
    column = _by_kind(series, field)
    if field.required:
        column.doubtful |= np.isnan(column.codes) & ~column.doubtful
    return column


def _by_kind(series: "pd.Series[Any]", field: fields.Field[Any]) -> Column:
    if isinstance(field, Number) and (is_float_dtype(series.dtype) or is_integer_dtype(series.dtype)):
        return numbers(field, series.to_numpy(dtype=np.float64, na_value=np.nan).copy())
    if isinstance(field, Flag) and is_bool_dtype(series.dtype):
        values = series.to_numpy(dtype=np.float64, na_value=np.nan).copy()
        return Column(field, values, np.zeros(len(values), dtype=bool))
    if not isinstance(field, (Number, Flag)) and infer_dtype(series, skipna=True) in ("string", "categorical", "empty"):
        return _by_distinct(series, field)
    return _one_by_one(series, field)


def numbers(field: Number, values: Floats) -> Column:
    """Look at numbers in one go."""
    return Column(field, values, ~np.isnan(values) & ~((values >= field.low) & (values <= field.high)))


def _by_distinct(series: "pd.Series[Any]", field: fields.Field[Any]) -> Column:
    """Look at each distinct text once."""
    places, distinct = pd.factorize(series)
    held, fit = looked_at([as_sent(one, field) for one in distinct], field)
    codes = np.where(places < 0, np.nan, places.astype(np.float64))
    doubtful = ~np.array([*fit, True])[places]
    return coded(field, codes, doubtful, held)


def _one_by_one(series: "pd.Series[Any]", field: fields.Field[Any]) -> Column:
    """Look at every value: the column holds things of several kinds."""
    sent = [as_sent(one, field) for one in series.tolist()]
    held, fit = looked_at(sent, field)
    known = np.array([one is not None for one in sent], dtype=bool)
    codes = np.where(known, np.arange(len(sent), dtype=np.float64), np.nan)
    return coded(field, codes, ~np.array(fit, dtype=bool), held)


def coded(field: fields.Field[Any], codes: Floats, doubtful: Bools, held: list[Any]) -> Column:
    """Return a column of which each row's code is the place of what it holds."""
    codes = np.where(doubtful, np.nan, codes)
    if isinstance(field, (Number, Flag, Choice)):
        names = {name: place for place, name in enumerate(field.names)} if isinstance(field, Choice) else None
        numbers = [np.nan if one is None else float(names[one] if names else one) for one in held]
        return Column(field, Column(field, codes, doubtful, held).looked_up(numbers), doubtful)
    return Column(field, codes, doubtful, held)


def looked_at(sent: Sequence[Any], field: fields.Field[Any]) -> tuple[list[Any], list[bool]]:
    """Return what the field makes of values, and which of them it takes."""
    look = look_at(field)
    held, fit = [], []
    for one in sent:
        try:
            held.append(None if one is None else look(one))
            fit.append(True)
        except Unfit:
            held.append(None)
            fit.append(False)
    return held, fit


def as_sent(value: Any, field: fields.Field[Any]) -> Any:
    """Return a cell as it would stand in a request: None for what is missing, lists for texts in parts."""
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, (list, tuple, set, frozenset)):
        return list(value)
    if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)):
        return None
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(field, Items) and isinstance(value, str):
        return [one.strip() for one in value.split(BETWEEN_ITEMS) if one.strip()]
    return value
