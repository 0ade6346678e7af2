"""What would silence a finding is never a worse value: nobody is told that a lower pressure still would quieten "low"."""

from functools import cache

import numpy as np
import pytest

from heartlevel.conclusions.silencing.consequences import ENOUGH, NEVER_FEWER, NEVER_MORE
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.vocabulary import EFFECTS, SEVERITIES
from support import reading, rules, week
from unit.told import full, owners, reasons_in_the_demo, satisfying

RULES = {rule.id: rule for rule in rules().ruleset.every_rule()}


@cache
def told() -> list[tuple]:
    """Every finding of the demo's rows with the changes that would silence it."""
    return [one for one in reasons_in_the_demo() if one[2][one[0].id] == 1 and one[3]["silenced_by"]]


def nearest(change: dict) -> float:
    now, fact = change["from"], CATALOGUE[change["fact"]]
    values = satisfying(change)
    return values[0] if fact.kind != "number" or now is None else min(values, key=lambda one: abs(one - fact.encoded(now)))


def gravity(name: str) -> tuple[bool, int, int]:
    written = RULES[name].written
    return RULES[name].urgent, EFFECTS.index(written["effect"]), -SEVERITIES.index(written["severity"])


def test_no_change_told_over_the_demo_brings_a_graver_finding():
    for rule, row, found, reason, whole in told():
        if reason["silenced_by"][0]["from"] is None:
            continue  # to record something is never worse, whatever comes to light by it
        program, columns = rules().programs[rule.scope], whole.facts[rule.scope]
        facts = {name: float(columns[name][row]) for name in program.facts}
        facts |= {change["fact"]: nearest(change) for change in reason["silenced_by"]}
        if ENOUGH & {change["fact"] for change in reason["silenced_by"]}:
            continue  # the same
        subject = int(owners(whole, rule.scope)[row])
        profile = program.profiles[whole.guidelines[subject].id, whole.protocols[subject].id]
        judged = program.judge({name: np.array([value]) for name, value in facts.items()}.__getitem__, np.array([profile]))
        after = dict(zip(found, judged.outcomes[:, 0].tolist(), strict=True))
        new = [name for name, code in after.items() if code == 1 != found[name] and not RULES[name].written.get("pattern")]
        urgent, effect, severity = gravity(rule.id)
        for name in new:
            assert not gravity(name)[0], (rule.id, name)
            assert gravity(name)[1] <= effect and gravity(name)[2] <= severity, (rule.id, name)


def test_no_change_told_over_the_demo_raises_an_average_or_asks_for_fewer_readings_or_more_faults():
    changes = [change for *_, reason, _ in told() for change in reason["silenced_by"] if change["from"] is not None]
    for change in changes:
        fact, now = CATALOGUE[change["fact"]], change["from"]
        if fact.name in ENOUGH:
            assert change["to"] == {"equals": True}
        elif fact.name in NEVER_FEWER:
            assert nearest(change) > now, change
        elif fact.name in NEVER_MORE or (fact.scope == "series" and fact.unit == "mm[Hg]"):
            assert nearest(change) < now, change
    assert {change["fact"] for change in changes} >= {"home_systolic", "home_doubtful_share"}
    assert set(CATALOGUE) >= NEVER_FEWER | NEVER_MORE | ENOUGH


def silenced(rule: str, *readings: dict, **subject) -> dict[str, dict]:
    """What is to change so that a rule falls silent, by fact."""
    payload = {"subject": {"id": "s-1", "age_years": 50, **subject}, "readings": list(readings)}
    (found,) = [one for one in full(payload)["findings"] if one["rule"] == rule]
    return {change["fact"]: change["to"] for change in found["reason"]["silenced_by"]}


def at_home(systolic: float, diastolic: float, **more) -> dict:
    return reading("2026-03-01T07:00:00+01:00", systolic, diastolic, **more)


@pytest.mark.parametrize(
    ("rule", "one", "expected"),
    [
        # Nearer would be below 80, where it is very low.
        ("low-with-symptoms", at_home(81, 62, symptoms=["dizziness"]), {"systolic": {"at_least": 90, "at_most": 180}}),
        ("very-low", at_home(76, 50), {"systolic": {"at_least": 80}}),
        ("very-high", at_home(290, 110), {"systolic": {"below": 180}}),  # not above 300, which is nearer
        ("picked-from-two", at_home(128, 80, selected_from=2), {"selected_from": {"at_most": 1}}),
        ("standing", at_home(128, 80, technique={"body_position": "standing"}), {"body_position": {"equals": "sitting"}}),
        ("cuff-level-below-heart", at_home(128, 80, technique={"arm_level": "below"}), {"arm_level": {"equals": "heart"}}),
    ],
)
def test_the_nearest_change_is_passed_over_where_it_is_worse(rule, one, expected):
    assert silenced(rule, one) == expected


def test_a_slip_is_not_told_to_be_mended_by_an_impossible_value():
    assert silenced("pressures-equal", at_home(128, 128)) == {}


def test_missing_evenings_are_told_by_evenings_and_not_by_fewer_days():
    mornings = [one for one in week()["readings"] if "T07" in one["taken_at"]]
    assert silenced("no-evening-readings", *mornings) == {"home_evenings": {"above": 0}}


def test_a_pressure_raised_in_the_office_only_is_not_told_to_be_raised_at_home_too():
    office = [reading(f"2026-03-0{day}T10:0{n}:00+01:00", 150, 95, setting="office") for day in (8, 9) for n in (0, 2, 4)]
    low = week(pressures=((118, 72), (118, 72)), circumstances=["work-day"])["readings"]
    changes = silenced("office-only-elevation", *low, *office)
    assert changes == {"office_side_raised": {"equals": False}}


def test_two_readings_that_disagree_are_told_to_lie_nearer_or_to_be_three_and_not_to_be_one():
    pair = [at_home(150, 80), reading("2026-03-01T07:02:00+01:00", 120, 80)]
    assert silenced("repeats-disagree", *pair) in ({"sitting_readings": {"above": 2}},
                                                   {"sitting_first_two_systolic_difference": {"below": 20}})  # fmt: skip


def test_a_sitting_of_too_many_is_told_to_have_fewer():
    five = [reading(f"2026-03-01T07:{2 * n:02d}:00+01:00", 130, 80) for n in range(5)]
    assert silenced("too-many-inflations", *five) == {"sitting_readings": {"at_most": 4}}


def test_readings_enough_for_the_protocol_are_told_though_they_may_bring_a_raised_pressure_to_light():
    night = [reading(f"2026-03-0{day}T10:{minute:02d}:00+01:00", 150, 95, setting="ambulatory") for day in (1, 2)
             for minute in (0, 20, 40)]  # fmt: skip
    assert silenced("too-few-ambulatory-readings", *night) == {"ambulatory_enough_for_protocol": {"equals": True}}
