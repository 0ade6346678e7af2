"""Readings of several periods: each is averaged by itself, and the latest is concluded on."""

import random
from datetime import date, timedelta

import pandas
import pytest

from heartlevel import assess
from support import answer, average, reading, rules, rules_fired

ZONE = {"time_zone": "Europe/Oslo"}


def home(first: str, days: int, systolic: float, diastolic: float, **more) -> list[dict]:
    """Two sittings a day of two readings."""
    start = date.fromisoformat(first)
    return [
        reading(f"{start + timedelta(days=day)}T{hour:02d}:{minute:02d}:00", systolic + day % 2, diastolic, **more)
        for day in range(days) for hour in (7, 20) for minute in (0, 1)
    ]  # fmt: skip


def office(day: str, systolic: float, diastolic: float, **more) -> list[dict]:
    return [reading(f"{day}T10:0{minute}:00", systolic, diastolic, setting="office", **more) for minute in (0, 2)]


def request(*blocks: list[dict], subject: dict | None = None, options: dict | None = None, **more) -> dict:
    readings = [one for block in blocks for one in block]
    return {"subject": {"id": "s-1", "age_years": 60, **(subject or {})}, "readings": readings,
            "options": {**ZONE, **(options or {})}, **more}  # fmt: skip


OLD, NEW = home("2026-01-05", 7, 150, 92), home("2026-03-02", 7, 126, 78)
CHANGED = {"treatment_changes": ["2026-01-20"]}


def spans(given: dict) -> list[tuple]:
    return [(one["name"], one["begins"], one["from"], one["to"], one["readings"]) for one in given["periods"]]


# source: readings before and under a treatment are not averaged together (common practice)
def test_readings_before_a_change_of_treatment_are_never_averaged_with_those_after_it():
    given = answer(request(OLD, NEW, subject=CHANGED))
    alone = answer(request(NEW))
    assert given["classification"] == alone["classification"]
    assert average(given)["systolic"] == average(alone)["systolic"]
    left_out = {one["because"]: len(one["readings"]) for one in average(given)["left_out"]}
    assert left_out == {"earlier-period": 28}
    assert spans(given) == [(None, "first-reading", "2026-01-05", "2026-01-11", 28),
                            (None, "treatment-changed", "2026-03-02", "2026-03-08", 28)]  # fmt: skip


def test_each_period_is_averaged_and_classified_as_if_it_had_come_alone():
    given = answer(request(OLD, NEW, subject=CHANGED))
    for period, alone in zip(given["periods"], (answer(request(OLD)), answer(request(NEW))), strict=True):
        (side,) = period["sides"]
        (of_its_own,) = alone["sides"]
        assert side == {**of_its_own, "reasons": []} and side["category"]


def test_both_are_averaged_where_nothing_came_between():
    given = answer(request(OLD, NEW))  # 50 days apart
    assert given["periods"] == [] and average(given)["readings"] == 56


@pytest.mark.parametrize(("first", "several"), [("2026-04-11", False), ("2026-04-12", True)])
def test_a_pause_of_more_than_ninety_days_ends_a_period_at_home(first, several):
    # 11 January to 11 April are 90 days. The limit is a convention of the rule set.
    given = answer(request(OLD, home(first, 7, 126, 78)))
    assert bool(given["periods"]) is several
    assert ("long-pause-at-home" in rules_fired(given)) is not several


def test_a_visit_between_two_home_weeks_belongs_to_the_nearer_one():
    given = answer(
        request(OLD, office("2026-01-20", 160, 95), home("2026-07-06", 7, 126, 78), office("2026-06-25", 132, 80))
    )
    assert [[(side["side"], side["systolic"]) for side in one["sides"]] for one in given["periods"]] == [
        [("home", 150.4), ("office-attended", 160)], [("home", 126.4), ("office-attended", 132)]]  # fmt: skip


def test_periods_named_by_their_days_or_by_the_readings():
    by_days = request(OLD, NEW, periods=[{"name": "after", "from": "2026-03-01"},
                                         {"name": "before", "from": "2026-01-01"}])  # fmt: skip
    by_name = request([{**one, "period": "before"} for one in OLD], [{**one, "period": "after"} for one in NEW])
    first, second = answer(by_days), answer(by_name)
    assert spans(first) == [("before", "named", "2026-01-05", "2026-01-11", 28),
                            ("after", "named", "2026-03-02", "2026-03-08", 28)]  # fmt: skip
    assert first == second


def test_readings_outside_the_periods_named_are_judged_apart():
    given = answer(request(OLD, NEW, periods=[{"name": "before", "from": "2026-01-01", "to": "2026-01-31"}]))
    assert [(one["name"], one["begins"]) for one in given["periods"]] == [
        ("before", "named"), (None, "outside-named-periods")]  # fmt: skip


def test_of_two_periods_with_one_name_the_first_counts_and_the_other_is_told():
    named = [{"name": "before", "from": "2026-01-01", "to": "2026-01-31"}, {"name": "before", "from": "2026-03-01"}]
    given = answer(request(OLD, NEW, periods=named))
    assert [(one["pointer"], one["code"]) for one in given["problems"]] == [("/periods/1/name", "id-repeated")]
    assert len(given["periods"]) == 2


def test_earlier_readings_are_still_judged_and_a_severe_one_is_still_named():
    old = [{**one, "technique": {"legs_crossed": True}} for one in OLD]
    old[3] = {**old[3], "systolic": 214, "diastolic": 124}
    given = answer(request(old, NEW, subject=CHANGED))
    assert {"very-high", "legs-crossed"} <= rules_fired(given)
    # The newest day counts as today, so that it is history; were it the day after, it would be urgent.
    assert (given["urgency"]["level"], given["urgency"]["episodes"][0]["worst"]["systolic"]) == ("history", 214)
    fresh = answer({**request(old, subject=CHANGED), "options": {"as_of": "2026-01-13"}})
    assert fresh["urgent"]
    lately = {**old[0], "taken_at": "2026-03-01T07:00:00", "systolic": 214, "diastolic": 124}
    assert answer(request([lately], NEW, subject={"treatment_since": "2026-03-02"}))["urgent"]
    assert [one["reliability"] for one in given["readings"][:28]].count("doubtful") >= 27
    assert average(given)["systolic"]["mean"] == 126.4


def test_where_nothing_was_measured_at_home_since_it_is_said_once():
    given = answer(request(OLD, office("2026-02-20", 134, 82), subject=CHANGED))
    fired = rules_fired(given)
    assert "home-readings-earlier-only" in fired
    assert not fired & {"no-home-readings", "home-readings-old", "readings-far-apart", "treatment-began-between-readings"}
    assert given["pattern"]["label"] == "undetermined"
    assert "office-readings-earlier-only" in rules_fired(
        answer(request(office("2026-01-05", 150, 90), NEW, subject=CHANGED))
    )


def test_the_first_day_that_a_protocol_leaves_out_is_that_of_the_period():
    # NICE NG136: the first day is discarded (published).
    given = answer(request(OLD, NEW, subject=CHANGED, options={"guideline": "nice-ng136"}))
    left_out = {one["because"]: len(one["readings"]) for one in average(given)["left_out"]}
    assert left_out == {"earlier-period": 28, "first-days-discarded": 4}


def test_the_order_of_readings_and_other_subjects_play_no_part():
    whole = request(OLD, NEW, office("2026-01-12", 150, 90), subject=CHANGED)
    shuffled = {**whole, "readings": random.Random(3).sample(whole["readings"], len(whole["readings"]))}
    assert {**answer(whole)} == {**answer(shuffled)}


def test_a_table_says_the_same():
    rows = [{"subject": "s-1", "subject.treatment_changes": "2026-01-20", **{name: one[name] for name in
             ("taken_at", "systolic", "diastolic", "setting")}} for one in OLD + NEW]  # fmt: skip
    by_name = [{**row, "subject.treatment_changes": None, "period": "b" if row["taken_at"] > "2026-02" else "a"}
               for row in rows]  # fmt: skip
    for table in (rows, by_name):
        home = assess(pandas.DataFrame(table), rules(), **ZONE).averages.query("basis == 'protocol'")
        assert home["systolic_mean"].round(1).tolist() == [126.4]
