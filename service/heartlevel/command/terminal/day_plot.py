"""A small plot of the days for a terminal: a bar a day, from the lower to the upper mean pressure.

A bar that reaches a limit is broad, any other thin, so that nothing depends on colour.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import floor

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.statistics.selection import HOME, OFFICE
from heartlevel.vocabulary import PRESSURES, SETTINGS

ROWS, HALVES, STEP = 4, 2, 5  # rows of the plot, each of two halves; a half is a multiple of so many mm[Hg]
BROAD, THIN = ("▄", "▀", "█"), ("╷", "╵", "│")  # what stands in the lower half of a row, the upper one, and both
LIMIT, NOTHING, AXIS = "┄", " ", "· "
MARGIN, LEAST_DAYS = 7, 2


@dataclass(frozen=True, slots=True)
class DayMeans:
    """The means of usable readings by day, in one setting, and the limits there; mm[Hg]."""

    setting: str
    days: Sequence[date]
    systolic: Sequence[float]
    diastolic: Sequence[float]
    limits: tuple[float, float]  # NaN where the guideline publishes none


def day_means(conclusions: Conclusions, subject: int) -> DayMeans | None:
    """Return a subject's days at home, else in the office; None where there are fewer than two."""
    assessment = conclusions.assessment
    batch, rows = assessment.batch, assessment.batch.rows_of(subject)
    usable = assessment.selection.averages["all"][rows]
    for setting in (HOME, OFFICE):
        taken = rows.start + np.flatnonzero(usable & (batch.group_of[rows] % len(SETTINGS) == setting))
        days, number = np.unique(batch.day[taken], return_inverse=True)
        if len(days) >= LEAST_DAYS:
            means = [_means(batch.readings[name][taken], number) for name in PRESSURES]
            name = SETTINGS[setting]
            limits = assessment.guidelines[subject].raised_from(name)
            return DayMeans(name, [date.fromordinal(int(day)) for day in days], means[0], means[1], limits)
    return None


def _means(values: Floats, number: Ints) -> list[float]:
    means: list[float] = (np.bincount(number, values) / np.bincount(number)).tolist()
    return means


def plotted(means: DayMeans, width: int) -> tuple[list[str], list[date]]:
    """Return the lines of the plot, the highest first, and the days in it: the last ones where not all have room."""
    first = means.days[0].toordinal()
    columns = min((width - MARGIN) // 2, means.days[-1].toordinal() - first + 1)
    begins = means.days[-1].toordinal() - columns + 1
    shown = [number for number, day in enumerate(means.days) if day.toordinal() >= begins]
    scale = _Scale(means, shown)
    bars = {means.days[number].toordinal() - begins: scale.bar(means, number) for number in shown}
    lines = [
        f"{scale.label(row):>6}" + "".join(bars.get(column, [scale.empty(row)] * ROWS)[row] + scale.empty(row)
                                          for column in range(columns))
        for row in reversed(range(ROWS))
    ]  # fmt: skip
    return [line.rstrip() for line in lines], [means.days[number] for number in shown]


class _Scale:
    """From pressures to halves of rows, the lowest row being 0."""

    def __init__(self, means: DayMeans, shown: Sequence[int]) -> None:
        lowest = min(means.diastolic[number] for number in shown)
        highest = max(means.systolic[number] for number in shown)
        self._half = STEP
        while floor(highest / self._half) - floor(lowest / self._half) >= ROWS * HALVES:
            self._half += STEP
        self._bottom = floor(lowest / self._half) * self._half
        self._limits = {self._row(limit): limit for limit in means.limits if limit == limit}

    def _row(self, pressure: float) -> int:
        return floor((pressure - self._bottom) / self._half) // HALVES

    def label(self, row: int) -> str:
        """Return the limit that lies in a row, or else, of the lowest and the highest, where it begins and ends."""
        if row in self._limits:
            return f"{self._limits[row]:g}┄"
        edges = {0: self._bottom, ROWS - 1: self._bottom + ROWS * HALVES * self._half}
        return f"{edges[row]:g} " if row in edges else AXIS

    def empty(self, row: int) -> str:
        """Return what stands where there is no bar."""
        return LIMIT if row in self._limits else NOTHING

    def bar(self, means: DayMeans, number: int) -> list[str]:
        """Return what stands in each row for a day."""
        pressures = (means.systolic[number], means.diastolic[number])
        marks = BROAD if any(value >= limit for value, limit in zip(pressures, means.limits, strict=True)) else THIN
        top, low = (floor((pressure - self._bottom) / self._half) for pressure in pressures)
        return list(self._cells(low, top, marks))

    def _cells(self, low: int, top: int, marks: Sequence[str]) -> Iterator[str]:
        for row in range(ROWS):
            lower, upper = (low <= half <= top for half in (HALVES * row, HALVES * row + 1))
            both = marks[2] if lower and upper else marks[0] if lower else marks[1]
            yield both if lower or upper else self.empty(row)
