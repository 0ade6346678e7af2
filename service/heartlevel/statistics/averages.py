"""Averages of selected readings by group, pooled and by day, with what is needed to say how sure they are."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.batch import Batch
from heartlevel.kernels import averaging

# Values are shown to a whole unit, so days that agree exactly still differ by that much: the standard
# uncertainty of a resolution of 1 (JCGM 100:2008, F.2.2.1).
ROUNDING = 12**-0.5
QUANTITIES = ("systolic", "diastolic", "pulse")


@dataclass(frozen=True, slots=True)
class Averages:
    """Arrays of a row a selection and a column a group; from `mean` on the first axis is the quantity.

    `mean` and `sd` (n−1) pool the readings. Readings of one day are not independent, so `day_mean` is the
    mean of the days' means and `standard_error` comes from the spread between days. NaN where undefined.
    """

    selections: tuple[str, ...]
    readings: Floats
    days: Floats
    mean: Floats
    sd: Floats
    day_mean: Floats
    day_count: Floats  # days with a known value of the quantity
    standard_error: Floats
    correlation: Floats  # of the days' systolic and diastolic means

    def row(self, selection: str) -> int:
        """Return the row of a selection."""
        return self.selections.index(selection)


@dataclass(frozen=True, slots=True)
class _Moments:
    """Of each selection of rows and each of their cells: how many rows, and of each quantity's known values these."""

    rows: Floats  # axes: selection, cell
    known: Floats  # how many; axes: quantity, selection, cell
    mean: Floats
    sd: Floats  # n−1


def average(batch: Batch, selections: Mapping[str, Bools]) -> Averages:
    """Average every selection of every group at once."""
    chosen = np.array(list(selections.values()))
    values = np.array([batch.readings[name] for name in QUANTITIES])
    shape = (len(chosen), batch.groups)
    of_quantities = (len(values), *shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        of_readings = _moments(chosen, values, batch.group_of, batch.groups)
        in_day, _, by_day = means_by(chosen, values, batch.day_of, batch.days)
        # A day of each selection is a row of its own.
        owner = (np.arange(len(chosen))[:, None] * batch.groups + batch.group_of_day).ravel()
        measured, by_day = in_day.reshape(1, -1) > 0, by_day.reshape(len(QUANTITIES), -1)
        of_days = _moments(measured, by_day, owner, len(chosen) * batch.groups)
        correlation = _correlation(by_day[:2], owner, len(chosen) * batch.groups)
        error = np.maximum(of_days.sd, ROUNDING) / np.sqrt(of_days.known)
    return Averages(
        selections=tuple(selections),
        readings=of_readings.rows,
        days=of_days.rows.reshape(shape),
        mean=of_readings.mean,
        sd=of_readings.sd,
        day_mean=of_days.mean.reshape(of_quantities),
        day_count=of_days.known.reshape(of_quantities),
        standard_error=error.reshape(of_quantities),
        correlation=correlation.reshape(shape),
    )


def means_by(chosen: Bools, values: Floats, cell_of: Ints, cells: int) -> tuple[Floats, Floats, Floats]:
    """Return the number of chosen rows in each cell, and number and mean of each quantity's known values among them.

    `chosen` has a row a selection, `values` one a quantity. Axes: quantity, except of the first; selection, cell. NaN
    where there are none.
    """
    rows, (known, mean) = np.zeros((len(chosen), cells)), np.zeros((2, len(values), len(chosen), cells))
    averaging.add_means(chosen.view(np.uint8), values, cell_of, rows, known, mean)
    return rows, known, mean


def counts_by(chosen: Bools, cell_of: Ints, cells: int) -> Floats:
    """Return the number of chosen rows in each cell. Axes: selection, cell."""
    rows, _, _ = means_by(chosen, np.empty((0, len(cell_of))), cell_of, cells)
    return rows


def _moments(chosen: Bools, values: Floats, cell_of: Ints, cells: int) -> _Moments:
    rows, known, mean = means_by(chosen, values, cell_of, cells)
    squares = np.zeros_like(mean)
    averaging.add_squares(chosen.view(np.uint8), values, cell_of, mean, squares)
    return _Moments(rows, known, mean, np.sqrt(squares / (known - 1)))


def _correlation(by_day: Floats, owner: Ints, cells: int) -> Floats:
    """Return the correlation of two quantities' day means (a row each), over days of both; 0 where a spread is nil."""
    both = ~np.isnan(by_day).any(axis=0).reshape(1, -1)
    _, _, mean = means_by(both, by_day, owner, cells)
    squares, products = np.zeros_like(mean), np.zeros((1, cells))
    averaging.add_squares(both.view(np.uint8), by_day, owner, mean, squares)
    averaging.add_products(both.view(np.uint8), by_day, owner, mean, products)
    spread = np.sqrt(squares[0] * squares[1])
    return np.where(spread > 0, products / spread, 0.0)
