"""What follows once more was measured, as it stands in the answer."""

from collections.abc import Mapping, Sequence
from datetime import date
from math import isfinite
from typing import Any

from heartlevel.answer.classification import CHANCE_DECIMALS
from heartlevel.answer.sides import sides_written
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.followup.change import SideChanged
from heartlevel.conclusions.followup.observed import technique_check
from heartlevel.conclusions.followup.periods import PeriodSpan
from heartlevel.conclusions.followup.target import CANNOT_BE_TOLD, SideTarget
from heartlevel.conclusions.numbers import rounded, rounded_interval
from heartlevel.profiles import TargetLimits
from heartlevel.statistics.followup.change import STATES
from heartlevel.vocabulary import PRESSURES


def periods(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return a subject's periods, the latest last; none where all readings are of one."""
    return [
        {
            **_named(span),
            "begins": span.kind.begins,
            "readings": span.readings,
            "sides": _sides_of_period(conclusions, subject, span),
        }
        for span in conclusions.periods.get(subject, ())
    ]


def _named(span: PeriodSpan) -> dict[str, Any]:
    first, last = (date.fromordinal(day).isoformat() for day in (span.first, span.last))
    return {"name": span.kind.name, "from": first, "to": last}


def _sides_of_period(conclusions: Conclusions, subject: int, span: PeriodSpan) -> list[dict[str, Any]]:
    """Return the sides of a period as they would stand in its own answer; of what speaks against them only the codes."""
    earlier = conclusions.earlier
    own, number = (conclusions, subject) if span.earlier is None or earlier is None else (earlier, span.earlier)
    return [
        {**side, "reasons": [reason["code"] for reason in side["reasons"] if reason["takes_away"]]}
        for side in sides_written(own, number)
    ]


def change(conclusions: Conclusions, subject: int) -> dict[str, Any] | None:
    """Return how a subject's latest period differs from the one before; null where there is only one."""
    in_time = conclusions.periods.get(subject)
    if not in_time:
        return None
    texts = _texts(conclusions, subject)
    return {
        "since": _named(in_time[-2]),
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


def target(conclusions: Conclusions, subject: int) -> dict[str, Any] | None:
    """Return whether a subject's target is attained; null where there is none to be held against."""
    concluded = conclusions.targets.get(subject)
    if concluded is None:
        return None
    texts, first = _texts(conclusions, subject), next(iter(concluded.sides), None)
    return {
        "from": concluded.origin,
        "guideline": None if concluded.target is None else conclusions.assessment.guidelines[subject].id,
        "side": first and first.side,
        "state": first.state if first else CANNOT_BE_TOLD,
        "sides": [_side_target(side, texts) for side in concluded.sides],
        "exceptions": [{"code": code, "text": texts.get(f"target-{code}")} for code in concluded.exceptions],
        "sources": [
            {"cite": cite, "standing": standing}
            for cite, standing in (concluded.target.sources if concluded.target else ())
        ],
    }


def _side_target(side: SideTarget, texts: Mapping[str, str]) -> dict[str, Any]:
    limits = side.limits
    return {
        "side": side.side,
        "state": side.state,
        "because": side.untold,
        "text": texts.get(f"target-{side.untold or side.state}"),
        "comparator": limits and limits.comparator,
        **({} if limits is None else {name: _finite(getattr(limits, name)) for name in PRESSURES}),
        "not_below": None if limits is None else _floor(limits),
        "probability_attained": _chance(side.attained),
        "probability_below": _chance(side.below),
    }


def _floor(limits: TargetLimits) -> dict[str, float | None] | None:
    floor = {"systolic": _finite(limits.lowest_systolic), "diastolic": _finite(limits.lowest_diastolic)}
    return floor if any(value is not None for value in floor.values()) else None


def _finite(limit: float) -> float | None:
    return limit if isfinite(limit) else None


def _chance(probability: float | None) -> float | None:
    return None if probability is None else rounded(probability, CHANCE_DECIMALS)


def pulse(conclusions: Conclusions, subject: int) -> dict[str, Any] | None:
    """Return a subject's pulse at rest; null where none was recorded."""
    sides = [
        {"side": own.side, "mean": rounded(own.mean), "sd": rounded(own.sd), "days": int(own.days)}
        for own in conclusions.pulses[subject]
    ]
    return {"sides": sides} if sides else None


def devices(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return what each of several devices measured, and how far they differ; nothing where there is one."""
    compared = conclusions.devices.get(subject)
    if compared is None:
        return {"devices": [], "device_differences": []}
    return {
        "devices": [
            {"device": own.device, "side": own.side, "readings": own.readings, "days": own.days,
             **{name: rounded(value) for name, value in zip(PRESSURES, own.mean, strict=True)}}
            for own in compared.averages
        ],
        "device_differences": [
            {"side": own.side, "devices": list(own.devices), "paired_by": own.paired_by,
             "pairs": own.paired.pairs,
             **{name: {"mean": rounded(own.paired.mean[row]),
                       "interval95": rounded_interval(own.paired.low[row], own.paired.high[row])}
                for row, name in enumerate(PRESSURES)}}
            for own in compared.differences
        ],
    }  # fmt: skip


def observed_technique(
    conclusions: Conclusions, subject: int, findings: Sequence[Mapping[str, Any]]
) -> dict[str, Any] | None:  # fmt: skip
    """Return what staff saw of a subject's technique, in the person's words; null for who was not observed."""
    assessment = conclusions.assessment
    check = technique_check(assessment, conclusions.habits_before, subject)
    if check is None:
        return None
    words = assessment.rules.wording[assessment.batch.requests[subject].language].rules
    patient = {finding["rule"]: finding["patient"] for finding in findings}
    latest, before = check.latest, check.before
    right = {rule.id for rule in latest.right}
    return {
        "on": date.fromordinal(latest.day).isoformat(),
        "right": [{"rule": rule.id, "title": words[rule.id].title} for rule in latest.right],
        "change_first": [
            {"rule": rule.id, "title": words[rule.id].title, "patient": patient.get(rule.id)} for rule in latest.amiss
        ],
        "not_seen": [rule.id for rule in latest.not_seen],
        "stands_in_at_home": check.stands_in,
        "before": None if before is None else {
            "on": date.fromordinal(before.day).isoformat(),
            "amiss": [rule.id for rule in before.amiss],
            "mended": [rule.id for rule in before.amiss if rule.id in right],
        },
    }  # fmt: skip


def _texts(conclusions: Conclusions, subject: int) -> Mapping[str, str]:
    assessment = conclusions.assessment
    return assessment.rules.wording[assessment.batch.requests[subject].language].follow_up
