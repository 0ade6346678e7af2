"""What follows once more was measured, as it stands in the answer."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.followup.change import SideChanged
from heartlevel.conclusions.followup.periods import PeriodFigures
from heartlevel.conclusions.numbers import rounded, rounded_interval
from heartlevel.statistics.followup.change import STATES
from heartlevel.vocabulary import PRESSURES


def periods(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return a subject's periods, the latest last; none where all readings are of one."""
    return [_period(figures) for figures in conclusions.periods.get(subject, ())]


def change(conclusions: Conclusions, subject: int) -> dict[str, Any] | None:
    """Return how a subject's latest period differs from the one before; null where there is only one."""
    in_time = conclusions.periods.get(subject)
    if not in_time:
        return None
    before = _period(in_time[-2])
    texts = _texts(conclusions, subject)
    return {
        "since": {name: before[name] for name in ("name", "from", "to")},
        "sides": [_side_changed(changed, texts) for changed in conclusions.changes[subject]],
    }


def _side_changed(changed: SideChanged, texts: Mapping[str, str]) -> dict[str, Any]:
    figures = (changed.before, changed.after, changed.difference, changed.low, changed.high)
    by_pressure = dict(zip(PRESSURES, zip(*figures, strict=True), strict=True))
    state = STATES[changed.state]
    return {
        "side": changed.side,
        "state": state,
        "text": texts.get(f"change-{state}"),
        **{
            name: {"before": rounded(before), "now": rounded(now), "change": rounded(difference),
                   "interval95": rounded_interval(low, high)}
            for name, (before, now, difference, low, high) in by_pressure.items()
        },
        "cautions": [{"code": code, "text": texts.get(code)} for code in changed.cautions],
    }  # fmt: skip


def _texts(conclusions: Conclusions, subject: int) -> Mapping[str, str]:
    assessment = conclusions.assessment
    return assessment.rules.wording[assessment.batch.requests[subject].language].follow_up


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
