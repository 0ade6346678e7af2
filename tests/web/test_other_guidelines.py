"""One request answered under several guidelines at once."""

import pytest

from heartlevel.one_call import answer_to
from heartlevel.web.application import create_app
from support import average, rules, week


@pytest.fixture
def app():
    return create_app({}, rules())


# 132/82: raised by ACC/AHA 2025 (home 130/80), not by ESC 2024 or ESH 2023 (home 135/85); reference tables of each.
BETWEEN = week(pressures=[(132, 82), (132, 82)])
OTHERS = ["esc-2024", "esh-2023"]


def asked(payload: dict, **options):
    return answer_to({**payload, "options": {**payload.get("options", {}), **options}}, rules())


def test_where_guidelines_disagree_is_said():
    answer = asked(BETWEEN, guideline="acc-aha-2025", also_under=OTHERS)
    assert answer["classification"]["raised"] is True
    assert [one["guideline"] for one in answer["other_guidelines"]] == OTHERS
    assert [(one["raised"], one["disagrees_in"]) for one in answer["other_guidelines"]] == [(False, ["raised"])] * 2


def test_guidelines_that_agree_disagree_in_nothing():
    answer = asked(week(pressures=[(150, 96), (150, 96)]), guideline="acc-aha-2025", also_under=OTHERS)
    assert [(one["raised"], one["disagrees_in"]) for one in answer["other_guidelines"]] == [(True, [])] * 2


@pytest.mark.parametrize("other", ["nice-ng136", "jsh-2019", "acc-aha-2017", "esc-2024"])
def test_what_is_said_of_another_guideline_is_what_it_would_have_answered(other):
    (said,) = asked(BETWEEN, also_under=[other])["other_guidelines"]
    alone = asked(BETWEEN, guideline=other)
    assert said["category"] == alone["classification"]["category"]
    assert (said["protocol"], said["pattern"]) == (alone["made_with"]["protocol"], alone["pattern"]["label"])
    assert said["systolic"] == alone["classification"]["systolic"] == average(alone, "home", "protocol")["systolic"]["mean"]
    assert said["holds"] == alone["classification"]["holds"]


def test_a_protocol_asked_for_holds_for_all():
    answer = asked(BETWEEN, protocol="nice-ng136", also_under=OTHERS)
    assert {one["protocol"] for one in answer["other_guidelines"]} == {"nice-ng136"}


def test_the_rest_of_the_answer_is_as_without():
    whole, plain = asked(BETWEEN, also_under=OTHERS), asked(BETWEEN)
    assert plain.pop("other_guidelines") == []
    del whole["other_guidelines"]
    assert whole == plain


def test_a_limit_is_compared_before_rounding():
    just_below = week(pressures=[(129.96, 70), (129.96, 70)])
    answer = asked(just_below, guideline="acc-aha-2025")
    assert (answer["classification"]["systolic"], answer["classification"]["raised"]) == (130.0, False)


def test_without_a_category_nothing_is_called_raised():
    (other,) = asked(week(days=1), also_under=["esc-2024"])["other_guidelines"]
    assert (other["category"], other["raised"]) == (None, None)


def test_an_unknown_guideline_is_named_at_its_place(client):
    response = client.post("/v1/assessments", json={**BETWEEN, "options": {"also_under": ["esc-2024", "esc-2042"]}})
    (problem,) = response.get_json()["problems"]
    assert (response.status_code, problem["pointer"]) == (422, "/options/also_under/1")
    assert problem["hint"] == "did you mean 'esc-2024'?"
