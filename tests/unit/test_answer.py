import random

import pytest
from scipy.stats import t

from heartlevel import RefusedRequest, answer_to
from heartlevel.answer.whole import as_json
from support import answer, average, demo, demo_answers, rules, week

# The fourth measured at home with a device that disagrees with its reference.
LABELS = ["office-only-elevation", "home-only-elevation", "normal-in-both", "undetermined", "sustained"]


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


def test_a_category_that_rests_on_doubtful_readings_alone_does_not_hold():
    doubtful = answer(week(technique={"back_supported": False, "legs_crossed": True}))
    assert {one["reliability"] for one in doubtful["readings"]} == {"doubtful"}
    classified = doubtful["classification"]
    assert classified["category"] is not None
    assert classified["holds"] is False
    nothing = {"name": "without-doubtful", "systolic": None, "diastolic": None, "category": None,
               "reason": "no-sound-readings"}  # fmt: skip
    assert nothing in classified["alternatives"]


def test_days_that_agree_exactly_are_still_no_surer_than_the_device_shows():
    same = answer(week(pressures=((130, 75), (130, 75))))
    low, high = average(same)["systolic"]["interval95"]
    # A resolution of 1 mm[Hg] has a standard uncertainty of 1/sqrt(12) (JCGM 100:2008, F.2.2.1); 7 days, t(6).
    half = t.ppf(0.975, 6) / 12**0.5 / 7**0.5
    assert (low, high) == (round(130 - half, 1), round(130 + half, 1))
    steady = answer(week(pressures=((130, 75), (130, 75)), options={"protocol": "nice-ng136"}))["classification"]
    assert steady["as_measured"]["probability_at_or_above"]["130/80"] == pytest.approx(0.5, abs=0.01)


def test_urgent_findings_come_before_others_as_grave():
    answers = demo_answers()
    for one in answers:
        urgent = [finding["urgent"] for finding in one["findings"]]
        assert urgent == sorted(urgent, reverse=True)
    graves = [[finding["urgent"] for finding in one["findings"] if finding["severity"] == "high"] for one in answers]
    assert any(len(set(one)) == 2 for one in graves)


def test_more_days_are_told_until_the_category_is_probable_by_095():
    assert {one["what_next"]["sure_at"] for one in demo_answers()} == {0.95}
