"""Technique that staff watched: what was right, what to change first, and how it stands in at home."""

import pytest

from support import answer, reading
from unit.test_periods import home, request

RIGHT = {"legs_crossed": False, "arm_supported": True, "back_supported": True, "talking": False, "rested_minutes": 5}
WEEK = home("2026-03-02", 7, 133, 84)


def watched(day: str, technique: dict, **more) -> list[dict]:
    shared = {"setting": "office", "taken_by": "self", "observed": True, "technique": technique, **more}
    return [reading(f"{day}T10:0{minute}:00", 132, 84, **shared) for minute in (0, 2)]


def observed(*blocks) -> dict:
    return answer(request(WEEK, *blocks))["observed_technique"]


def test_what_was_right_what_to_change_and_what_nobody_noted():
    check = observed(watched("2026-03-10", {**RIGHT, "legs_crossed": True, "talking": True}))
    assert check["on"] == "2026-03-10"
    # source: published sizes of the reference: crossed legs 2.5 to 14.9, talking 4 to 19 mmHg
    assert [one["rule"] for one in check["change_first"]] == ["talking", "legs-crossed"]
    assert all(one["patient"] for one in check["change_first"])
    assert {"arm-unsupported", "back-unsupported", "rest-too-short"} <= {one["rule"] for one in check["right"]}
    assert "full-bladder" in check["not_seen"] and check["before"] is None


def test_before_and_after_teaching():
    check = observed(watched("2026-03-09", {**RIGHT, "talking": True, "legs_crossed": True}),
                     watched("2026-03-12", {**RIGHT, "legs_crossed": True}))  # fmt: skip
    assert check["before"] == {"on": "2026-03-09", "amiss": ["talking", "legs-crossed"], "mended": ["talking"]}
    assert [one["rule"] for one in check["change_first"]] == ["legs-crossed"]


def probability(*blocks) -> float:
    return answer(request(WEEK, *blocks))["classification"]["probability_at_or_above"]["130/80"]


def test_what_was_seen_stands_in_for_what_nobody_recorded_at_home():
    nothing = probability([{**one, "observed": False} for one in watched("2026-03-10", {})])
    good = probability(watched("2026-03-10", {**RIGHT, "full_bladder": False}))
    bad = probability(watched("2026-03-10", {**RIGHT, "legs_crossed": True, "talking": True, "arm_supported": False}))
    assert good > nothing > bad  # faults read high: without them, a raised average is the more surely raised


@pytest.mark.parametrize(("day", "near"), [("2026-04-05", True), ("2026-04-06", False), ("2026-02-08", True),
                                           ("2026-02-07", False)])  # fmt: skip
def test_it_does_so_for_four_weeks_and_says_so(day, near):
    # 8 March is the last day at home; four weeks are a convention of the rule set
    check = observed(watched(day, RIGHT))
    assert check["stands_in_at_home"] is near
    without = probability([{**one, "observed": False} for one in watched(day, RIGHT)])
    assert (probability(watched(day, RIGHT)) != without) is near


def test_it_makes_no_reading_at_home_doubtful_and_replaces_nothing_that_was_recorded():
    alone = answer(request(WEEK))
    given = answer(request(WEEK, watched("2026-03-10", {**RIGHT, "legs_crossed": True})))
    assert given["readings"][: len(WEEK)] == alone["readings"]
    recorded = [{**one, "technique": {**RIGHT, "full_bladder": False}} for one in WEEK]
    seen = watched("2026-03-10", {"legs_crossed": True})
    unwatched = [{**one, "observed": False} for one in seen]
    told, without = (answer(request(recorded, block))["classification"] for block in (seen, unwatched))
    assert told["category_probability"] == without["category_probability"]


def test_who_was_not_observed_has_no_check():
    assert answer(request(WEEK))["observed_technique"] is None
