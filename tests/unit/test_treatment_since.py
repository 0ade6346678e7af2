"""Readings before, after, and soon after the start of a treatment."""

import pandas
import pytest

from heartlevel import assess
from support import answer, rules, rules_fired, week

BOTH, SOON = "treatment-began-between-readings", "soon-after-treatment-began"


def under_treatment_since(day: str, **more) -> dict:
    payload = {**week(), **more}  # 1 to 7 March
    payload["subject"]["treatment_since"] = day
    return payload


# source: ACC/AHA 2017, home readings from 2 weeks after a change (quoted from memory)
@pytest.mark.parametrize(
    ("day", "fired"),
    [("2026-02-21", set()), ("2026-02-22", {SOON}), ("2026-03-01", {SOON}), ("2026-03-02", {SOON}),
     ("2026-03-07", {SOON}), ("2026-03-08", set())],
)  # fmt: skip
def test_readings_within_two_weeks_of_the_start_of_a_treatment_are_named(day, fired):
    days = sorted({one["taken_at"][:10] for one in week()["readings"]})
    assert (days[0], days[-1]) == ("2026-03-01", "2026-03-07")
    assert rules_fired(answer(under_treatment_since(day))) & {BOTH, SOON} == fired


@pytest.mark.parametrize(("day", "fired"), [("2026-03-01", {SOON}), ("2026-03-02", {BOTH, SOON})])
def test_a_period_that_was_named_is_not_cut_and_says_that_treatment_began_in_it(day, fired):
    payload = under_treatment_since(day, periods=[{"name": "the week", "from": "2026-03-01", "to": "2026-03-07"}])
    assert rules_fired(answer(payload)) & {BOTH, SOON} == fired


def test_without_a_date_nothing_is_said_of_one():
    assert not rules_fired(answer(week())) & {BOTH, SOON}


def test_a_date_that_is_none_counts_as_not_recorded():
    given = answer(under_treatment_since("2026-13-01"))
    assert [one["pointer"] for one in given["problems"]] == ["/subject/treatment_since"]
    assert {**given, "problems": []} == answer(week())


def test_a_table_says_the_same():
    rows = [{"subject": "s-1", "subject.treatment_since": "2026-03-04", "taken_at": one["taken_at"],
             "systolic": one["systolic"], "diastolic": one["diastolic"], "setting": one["setting"]}
            for one in week()["readings"]]  # fmt: skip
    found = assess(pandas.DataFrame(rows), rules(), time_zone="Europe/Oslo")
    assert SOON in set(found.findings["rule"]) and BOTH not in set(found.findings["rule"])
    home = found.averages.query("setting == 'home' and basis == 'protocol'")
    assert home["days"].tolist() == [4]  # from 4 March on
