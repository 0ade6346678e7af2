"""Requests far larger than anybody means: what is wrong is named up to a number, and what is legible counts."""

import pytest

from heartlevel import answer_to
from heartlevel.intake.blocks.oversized import MOST_STRANGE, cut_to_size
from heartlevel.intake.request import RefusedRequest
from heartlevel.intake.schema import Reading
from support import answer, rules, week

MANY = {f"sistolik{number}": 300 for number in range(20_000)}


def problems_of(told: dict, code: str) -> list[dict]:
    return [problem for problem in told["problems"] if problem["code"] == code]


def test_names_that_no_field_has_are_named_up_to_a_number_and_counted():
    payload = week()
    payload["subject"] |= MANY
    told = answer(payload)
    assert len(problems_of(told, "unknown-key")) == MOST_STRANGE
    (counted,) = problems_of(told, "too-many-names")
    assert counted["pointer"] == "/subject" and f"{len(MANY) - MOST_STRANGE} names more" in counted["detail"]
    assert told["counts"]["assessed"] == 28
    assert told["classification"]["category"] is None  # one of them may be the age, or a pregnancy


def test_a_severe_value_among_many_names_is_urgent_and_the_other_readings_count():
    payload = week()
    payload["readings"][3] |= MANY | {"technique": dict(MANY), "systolic": 225, "diastolic": 131}
    told = answer(payload)
    assert told["urgent"] and told["counts"]["assessed"] == 28
    assert {problem["pointer"] for problem in problems_of(told, "too-many-names")} == {
        "/readings/3", "/readings/3/technique"
    }  # fmt: skip


def test_the_outermost_object_and_the_options_are_refused_as_with_one_name():
    for payload in (week() | MANY, week(options=dict(MANY))):
        with pytest.raises(RefusedRequest) as refused:
            answer_to(payload, rules())
        assert len(refused.value.problems) == MOST_STRANGE + 1


def test_a_list_that_is_too_long_is_told_as_such_and_not_read_to_its_end():
    item = {"taken_at": "2026-03-02T07:10:00Z", "circumstances": ["stress"] * 500_000}
    cut, problems = cut_to_size(item, Reading(), "/readings/0")
    assert problems == [] and len(cut["circumstances"]) < 100
    payload = week()
    payload["readings"][0]["circumstances"] = item["circumstances"]
    assert problems_of(answer(payload), "too-many")


def test_what_is_of_a_usual_size_is_left_as_it_is():
    item = week()["readings"][0] | {"one": 1, "circumstances": ["stress"]}
    assert cut_to_size(item, Reading(), "")[0] is item
