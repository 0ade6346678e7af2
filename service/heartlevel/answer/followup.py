"""What follows once more was measured, as it stands in the answer."""

from datetime import date
from typing import Any

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.followup.periods import PeriodFigures
from heartlevel.conclusions.numbers import rounded


def periods(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return a subject's periods, the latest last; none where all readings are of one."""
    return [_period(figures) for figures in conclusions.periods.get(subject, ())]


def _period(figures: PeriodFigures) -> dict[str, Any]:
    return {
        "name": figures.kind.name,
        "begins": figures.kind.begins,
        "from": date.fromordinal(figures.first).isoformat(),
        "to": date.fromordinal(figures.last).isoformat(),
        "readings": figures.readings,
        "averages": [
            {
                "setting": side.setting,
                "readings": side.readings,
                "days": side.days,
                "systolic": rounded(side.systolic),
                "diastolic": rounded(side.diastolic),
                "category": side.category and side.category.id,
            }
            for side in figures.sides
        ],
    }
