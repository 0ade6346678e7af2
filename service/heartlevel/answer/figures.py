"""The statistics of one subject as they stand in the answer."""

from datetime import date
from typing import Any

import numpy as np

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.conclusions.sureness import FEW_DAYS
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.selection import HOME, KEPT, LEFT_OUT, OFFICE
from heartlevel.vocabulary import PRESSURES, SETTINGS

DAYS_COUNTED = ("days", "mornings", "evenings", "work_days", "free_days")
MEASURES = ("sd", "cv", "arv", "arv_weighted", "day_sd")


class Figures:
    """Averages, variability and coverage; numbers are rounded for all subjects at once."""

    def __init__(self, conclusions: Conclusions) -> None:
        """Round what several subjects' answers are read from."""
        self.conclusions, self.assessment = conclusions, conclusions.assessment
        averages = self.assessment.averages
        self.bases = list(self.assessment.selection.averages)
        groups, rows = np.nonzero(averages.readings[: len(self.bases)].T)
        counts = (column[rows, groups].astype(np.int64).tolist() for column in (averages.readings, averages.days))
        # Of every average, in the order of subjects: its group, selection, readings and days; then, by quantity, mean,
        # standard deviation, mean of days, low and high end.
        self.cells = list(zip(groups.tolist(), rows.tolist(), *counts, strict=True))
        columns = np.array([averages.mean, averages.sd, averages.day_mean, *conclusions.intervals])
        self.numbers = all_rounded(columns[:, :, rows, groups].transpose(2, 1, 0))
        self.long_run = all_rounded(np.array(conclusions.long_run_intervals).transpose(2, 1, 0))
        counted = np.bincount(groups // len(SETTINGS), minlength=len(self.assessment.guidelines))
        self.starts = [0, *np.cumsum(counted).tolist()]
        self.left_out = self._left_out()
        self.days_spanned = np.array(conclusions.days_spanned).T.tolist()
        series = self.assessment.facts["series"]
        self.days_counted = np.array([series[f"home_{name}"] for name in DAYS_COUNTED]).astype(np.int64).T.tolist()
        self.home_by_hour = conclusions.home_by_hour.tolist()
        by_reading = [[getattr(columns, name) for name in MEASURES] for columns in conclusions.varying.by_reading.values()]
        self.varying = all_rounded(np.array(by_reading).transpose(2, 0, 1))
        at_home, paired = slice(HOME, None, len(SETTINGS)), conclusions.varying.morning_minus_evening
        self.days_paired = paired["systolic"].days[at_home].astype(np.int64).tolist()
        by_day = np.array([[columns.mean, columns.low, columns.high] for columns in paired.values()])
        self.paired = all_rounded(by_day[:, :, at_home].transpose(2, 0, 1))

    def averages(self, subject: int) -> list[dict[str, Any]]:
        """Return every average of a subject that has readings."""
        whole, mine = [], slice(self.starts[subject], self.starts[subject + 1])
        for (group, row, readings, days), numbers in zip(self.cells[mine], self.numbers[mine], strict=True):
            average: dict[str, Any] = {
                "setting": SETTINGS[group % len(SETTINGS)],
                "basis": self.bases[row],
                "readings": readings,
                "days": days,
            }
            for name, of_name in zip(QUANTITIES, numbers, strict=True):
                if of_name[0] is not None:
                    average[name] = _average(*of_name)
            if self.bases[row] == "protocol":
                for name, ends in zip(PRESSURES, self.long_run[group], strict=True):
                    average[name]["interval95_long_run"] = None if None in ends else ends
                first, last = (date.fromordinal(int(day)).isoformat() for day in self.days_spanned[group])
                average |= {"from": first, "to": last, "left_out": self.left_out.get(group, [])}
            whole.append(average)
        return whole

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
        return {
            **dict(zip(DAYS_COUNTED, self.days_counted[subject], strict=True)),
            "by_hour": {str(hour): readings for hour, readings in enumerate(self.home_by_hour[subject]) if readings},
            "enough_for_protocol": bool(self.assessment.facts["series"]["home_enough_for_protocol"][subject]),
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
        days = self.days_paired[subject]
        if days:
            whole["morning_minus_evening"] = {"days": days, **{
                name: {"mean": mean, "interval95": None if low is None else [low, high]}
                for name, (mean, low, high) in zip(PRESSURES, self.paired[subject], strict=True)
            }}  # fmt: skip
        return whole


def _average(mean: float, sd: float | None, mean_of_days: float, low: float | None, high: float | None) -> dict[str, Any]:
    if low is None:
        return {"mean": mean, "sd": sd, "mean_of_days": mean_of_days, "interval95": None, "no_interval": FEW_DAYS}
    return {"mean": mean, "sd": sd, "mean_of_days": mean_of_days, "interval95": [low, high]}
