import random

import pytest

from heartlevel import RefusedRequest, answer_to
from heartlevel.answer.whole import as_json
from support import demo, rules

LABELS = ["office-only-elevation", "home-only-elevation", "normal-in-both", "sustained", "sustained"]


@pytest.mark.parametrize(("place", "label"), list(enumerate(LABELS)))
def test_home_and_office_are_compared(place, label):
    assert answer_to(demo()[place], rules())["pattern"]["label"] == label


def test_the_order_of_readings_does_not_change_the_answer():
    payload = demo()[0]
    before = as_json(answer_to(payload, rules()))
    random.Random(1).shuffle(payload["readings"])
    assert as_json(answer_to(payload, rules())) == before


def test_a_bad_reading_is_named_and_the_others_are_assessed():
    answer = answer_to(demo()[4], rules())
    assert len(answer["readings"]) == 29
    assert {"/readings/4/systolic"} <= {problem["pointer"] for problem in answer["problems"]}
    assert answer["urgent"]


def test_a_strict_request_with_a_bad_reading_is_refused():
    payload = demo()[4]
    payload["options"]["strict"] = True
    with pytest.raises(RefusedRequest) as refusal:
        answer_to(payload, rules())
    assert "/readings/4/systolic" in {problem.pointer for problem in refusal.value.problems}


def test_nobody_under_eighteen_is_classified():
    assert answer_to(demo()[5], rules())["classification"]["category"] is None


# source: NICE NG136 drops day one of 7 x 2 x 2 readings; AHA/AMA 2020 keeps all (arithmetic)
@pytest.mark.parametrize(("protocol", "kept"), [("nice-ng136", 24), ("esh-2023", 24), ("aha-ama-2020", 28)])
def test_protocols_keep_the_readings_they_say(protocol, kept):
    payload = demo()[0]
    payload["options"]["protocol"] = protocol
    averages = answer_to(payload, rules())["averages"]
    assert [one["readings"] for one in averages if (one["setting"], one["basis"]) == ("home", "protocol")] == [kept]
