"""How a subject's readings vary, as it stands in the answer."""

from typing import Any

from heartlevel.answer.numbers import pair, rounded
from heartlevel.assessment import Assessment
from heartlevel.statistics.comparisons import PRESSURES
from heartlevel.statistics.selection import HOME, OFFICE, UNUSABLE
from heartlevel.statistics.variability import paired_by_day, variability
from heartlevel.vocabulary import SETTINGS

MEASURES = ("sd", "cv", "arv", "arv_weighted", "day_sd")


class Spread:
    """The variability of all subjects of an assessment, computed once for all of them."""

    def __init__(self, assessment: Assessment) -> None:
        """Compute it."""
        batch, averages = assessment.batch, assessment.selection.averages
        usable = assessment.reliability != UNUSABLE
        self.of = {name: variability(batch, batch.readings[name], usable) for name in PRESSURES}
        morning, evening = averages["morning"], averages["evening"]
        self.by_day = {name: paired_by_day(batch, batch.readings[name], morning, evening) for name in PRESSURES}

    def variability(self, subject: int) -> dict[str, Any]:
        """Return how much the usable readings of home and office vary."""
        found: dict[str, Any] = {}
        for setting in (HOME, OFFICE):
            group = subject * len(SETTINGS) + setting
            if self.of["systolic"].sd[group] == self.of["systolic"].sd[group]:
                found[SETTINGS[setting]] = {
                    name: {one: rounded(getattr(of, one)[group]) for one in MEASURES} for name, of in self.of.items()
                }
        home = subject * len(SETTINGS) + HOME
        if self.by_day["systolic"].days[home]:
            found["morning_minus_evening"] = self._by_day(home)
        return found

    def _by_day(self, group: int) -> dict[str, Any]:
        means = {
            name: {"mean": rounded(of.mean[group]), "interval95": pair(of.low[group], of.high[group])}
            for name, of in self.by_day.items()
        }
        return {"days": int(self.by_day["systolic"].days[group]), **means}
