"""The statistics of one subject as they stand in the answer."""

from datetime import date
from typing import Any

import numpy as np

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import all_rounded, rounded, rounded_interval
from heartlevel.conclusions.sureness import FEW_DAYS
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.selection import HOME, KEPT, LEFT_OUT, OFFICE
from heartlevel.vocabulary import PRESSURES, SETTINGS

# Of every reading.
READING_PRESSURES = ("systolic", "diastolic", "mean_arterial", "pulse_pressure")
DAYS_COUNTED = ("days", "mornings", "evenings", "work_days", "free_days")
MEASURES = ("sd", "cv", "arv", "arv_weighted", "day_sd")


class Figures:
    """Averages, variability and coverage; numbers are rounded for all subjects at once."""

    def __init__(self, conclusions: Conclusions) -> None:
        """Round what several subjects' answers are read from."""
        self.conclusions, self.assessment = conclusions, conclusions.assessment
        averages, facts = self.assessment.averages, self.assessment.facts["reading"]
        self.bases = list(self.assessment.selection.averages)
        groups, rows = np.nonzero(averages.readings[: len(self.bases)].T)
        counts = (column[rows, groups].tolist() for column in (averages.readings, averages.days))
        # Of every average, in the order of subjects: its group, selection, readings and days; then, by quantity, mean,
        # standard deviation, mean of days, low and high end.
        self.cells = list(zip(groups.tolist(), rows.tolist(), *counts, strict=True))
        columns = np.array([averages.mean, averages.sd, averages.day_mean, *conclusions.intervals])
        self.numbers = all_rounded(columns[:, :, rows, groups].transpose(2, 1, 0))
        self.long_run = all_rounded(np.array(conclusions.long_run_intervals).transpose(2, 1, 0))
        counted = np.bincount(groups // len(SETTINGS), minlength=len(self.assessment.guidelines))
        self.starts = [0, *np.cumsum(counted).tolist()]
        self.reliability = self.assessment.reliability.tolist()
        self.left_out = self._left_out()
        self.pressures = all_rounded(np.array([facts[name] for name in READING_PRESSURES]).T)
        by_reading = [[getattr(columns, name) for name in MEASURES] for columns in conclusions.varying.by_reading.values()]
        self.varying = all_rounded(np.array(by_reading).transpose(2, 0, 1))

    def averages(self, subject: int) -> list[dict[str, Any]]:
        """Return every average of a subject that has readings."""
        whole, mine = [], slice(self.starts[subject], self.starts[subject + 1])
        for (group, row, readings, days), numbers in zip(self.cells[mine], self.numbers[mine], strict=True):
            average: dict[str, Any] = {
                "setting": SETTINGS[group % len(SETTINGS)],
                "basis": self.bases[row],
                "readings": int(readings),
                "days": int(days),
            }
            for name, of_name in zip(QUANTITIES, numbers, strict=True):
                if of_name[0] is not None:
                    average[name] = _average(*of_name)
            if self.bases[row] == "protocol":
                for name, ends in zip(PRESSURES, self.long_run[group], strict=True):
                    average[name]["interval95_long_run"] = None if None in ends else ends
                average |= {
                    "from": self._day(0, group),
                    "to": self._day(1, group),
                    "left_out": self.left_out.get(group, []),
                }
            whole.append(average)
        return whole

    def _day(self, end: int, group: int) -> str:
        return date.fromordinal(int(self.conclusions.days_spanned[end][group])).isoformat()

    def _left_out(self) -> dict[int, list[dict[str, Any]]]:
        """Return by group the readings that the protocol leaves out, by reason."""
        batch, reasons = self.assessment.batch, self.assessment.selection.left_out
        (rows,) = np.nonzero(reasons != KEPT)
        names: dict[int, dict[str, list[str]]] = {}
        for row, group, reason in zip(rows.tolist(), batch.group_of[rows].tolist(), reasons[rows].tolist(), strict=True):
            names.setdefault(group, {}).setdefault(LEFT_OUT[reason], []).append(batch.names[row])
        return {
            group: [{"because": reason, "readings": readings} for reason, readings in sorted(by_reason.items())]
            for group, by_reason in names.items()
        }

    def coverage(self, subject: int) -> dict[str, Any]:
        """Return how the home readings lie over days and hours."""
        facts, hours = self.assessment.facts["series"], self.conclusions.home_by_hour[subject].tolist()
        return {
            **{name: int(facts[f"home_{name}"][subject]) for name in DAYS_COUNTED},
            "by_hour": {str(hour): readings for hour, readings in enumerate(hours) if readings},
            "enough_for_protocol": bool(facts["home_enough_for_protocol"][subject]),
        }

    def undocumented(self, subject: int) -> list[dict[str, Any]]:
        """Return the facts whose absence kept a rule undecided, with the share of readings concerned."""
        return [{"item": name, "share": share} for name, share in self.conclusions.undocumented[subject]]

    def variability(self, subject: int) -> dict[str, Any]:
        """Return how much the usable readings of home and office vary."""
        whole: dict[str, Any] = {}
        for setting in (HOME, OFFICE):
            values = self.varying[subject * len(SETTINGS) + setting]
            varying = {
                name: dict(zip(MEASURES, of_name, strict=True))
                for name, of_name in zip(self.conclusions.varying.by_reading, values, strict=True)
            }
            if varying["systolic"]["sd"] is not None:
                whole[SETTINGS[setting]] = varying
        by_day, home = self.conclusions.varying.morning_minus_evening, subject * len(SETTINGS) + HOME
        days = int(by_day["systolic"].days[home])
        if days:
            whole["morning_minus_evening"] = {"days": days, **{
                name: {"mean": rounded(columns.mean[home]),
                       "interval95": rounded_interval(columns.low[home], columns.high[home])}
                for name, columns in by_day.items()
            }}  # fmt: skip
        return whole


def _average(mean: float, sd: float | None, mean_of_days: float, low: float | None, high: float | None) -> dict[str, Any]:
    average = {"mean": mean, "sd": sd, "mean_of_days": mean_of_days}
    if low is None:
        return {**average, "interval95": None, "no_interval": FEW_DAYS}
    return {**average, "interval95": [low, high]}
