"""Plausible values: no layer may leave a reading out for what was measured, only for a fault of measuring.

Readings of which nothing is known but pressures, pulse, time and setting are judged below layers and under them.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment, Rules, assess_requests
from heartlevel.columns import Bools
from heartlevel.intake.request import read
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.safety.places import place_of_condition
from heartlevel.vocabulary import EFFECTS, RELIABILITIES

SCOPES = ("reading", "sitting")  # of which rules leave readings out
SETTINGS = ("home", "office")
# Pressures that rules below the layers leave in, mm[Hg], and pulses, /min: every whole number of each.
SYSTOLIC, DIASTOLIC, PULSE = range(70, 261), range(40, 151), range(35, 161)


def left_out_for_values(below: Rules, rules: Rules) -> Iterator[RuleFault]:
    """Yield each rule that layers add or change and that leaves out or doubts a reading for a plausible value."""
    suspects = list(_suspects(below, rules))
    if not suspects:
        return
    before, after = (_assessed(each) for each in (below, rules))
    sound = before.reliability != RELIABILITIES.index("unusable")
    for rule in suspects:
        newly = _fired(after, rule) & ~_fired(before, rule) & sound
        if rule.effect == EFFECTS.index("doubtful"):  # a fast pulse may well make a reading doubtful
            newly &= np.isnan(after.batch.readings["pulse"])
        if newly.any():
            yield _fault(rules, rule, after, int(np.flatnonzero(newly)[0]))


def _suspects(below: Rules, rules: Rules) -> Iterator[Rule]:
    known = {rule.id: rule for rule in below.ruleset.every_rule()}
    for rule in rules.ruleset.every_rule():
        leaves_out = rule.effect > EFFECTS.index("none") or any(told.does == "excludes" for told in rule.consequences)
        if rule.scope in SCOPES and leaves_out and rule.is_changed(known.get(rule.id)):
            yield rule


def _assessed(rules: Rules) -> Assessment:
    return assess_requests([read(payload, rules.ruleset.choices) for payload in _requests()], rules)


@cache
def _requests() -> tuple[dict[str, Any], ...]:
    """Return a request for each setting; every reading is a sitting of its own."""
    pairs = [{"systolic": value, "diastolic": round(share * value)} for value in SYSTOLIC for share in (0.5, 0.6, 0.7)]
    pairs += [{"systolic": value + 45, "diastolic": value} for value in DIASTOLIC]
    pairs += [{"systolic": 128, "diastolic": 78, "pulse": value} for value in PULSE]
    start = datetime(2026, 1, 1, tzinfo=UTC)
    times = [(start + timedelta(hours=hours)).isoformat() for hours in range(len(pairs))]
    return tuple(
        {"subject": {"id": setting, "age_years": 50},
         "readings": [{**pair, "taken_at": time, "setting": setting} for pair, time in zip(pairs, times, strict=True)]}
        for setting in SETTINGS
    )  # fmt: skip


def _fired(assessment: Assessment, rule: Rule) -> Bools:
    """Mark the readings, each a sitting of its own, for which the rule of that id fires."""
    verdicts = assessment.verdicts[rule.scope]
    rows = [row for row, known in enumerate(verdicts.rules) if known.id == rule.id]
    fired: Bools = np.logical_or.reduce(verdicts.fired()[rows], axis=0)
    return fired


def _fault(rules: Rules, rule: Rule, assessment: Assessment, row: int) -> RuleFault:
    values = {name: assessment.batch.readings[name][row] for name in ("systolic", "diastolic", "pulse")}
    told = ", ".join(f"{name} {value:g}" for name, value in values.items() if not np.isnan(value))
    entry, at = place_of_condition(rules.ruleset, rule)
    return entry.fault(at, "value-unusable", f"leaves out a reading of which nothing is known but {told}")
