"""What cannot be read about the person never costs a reading, and never leaves a category that may be by other limits."""

import pytest

from heartlevel import RefusedRequest, answer_to
from heartlevel.intake.schema import Subject
from heartlevel.vocabulary import PATTERNS, UNDETERMINED
from support import answer, as_ndjson, average, reading, rules, rules_fired, week

HIGH = [(168, 112), (166, 111)]  # severe in pregnancy, not otherwise
LIMITS = "limits-unclear"
OF_LIMITS = {"home-pressure-raised", "office-pressure-raised", "isolated-systolic-elevation", "home-average-near-limit",
             "age-not-recorded", "normal-in-both", "sustained-elevation", "office-only-elevation"}  # fmt: skip


def of(subject: dict, **more) -> dict:
    """A week at home and three readings in the office of one day; `subject` without its id."""
    payload = week(**more)
    office = [reading(f"2026-03-09T10:0{minute}:00+01:00", 150, 95, setting="office") for minute in (0, 2, 4)]
    return {**payload, "subject": {"id": "s-1", **subject}, "readings": [*payload["readings"], *office]}


def with_severe(subject: dict) -> dict:
    payload = of(subject)
    severe = reading("2026-03-10T07:00:00+01:00", 200, 130, id="severe")
    return {**payload, "readings": [*payload["readings"], severe]}


UNCLEAR = [
    ({"age_years": 580}, "/subject/age_years", "out-of-range"),
    ({"age_years": "fifty-eight"}, "/subject/age_years", "not-a-number"),
    ({"age_years": 50, "pregnant": "yes"}, "/subject/pregnant", "not-true-or-false"),
    ({"age_years": 50, "days_since_birth": -3}, "/subject/days_since_birth", "out-of-range"),
    ({"age_years": 50, "pregnent": True}, "/subject/pregnent", "unknown-key"),
    ({"born": "2016-05-01"}, "/subject/born", "unknown-key"),
    ({"sex": {"f": "pregnant"}}, "/subject/sex", "unknown-key"),
    ({"age_years": 50, "gravid": True}, "/subject/gravid", "unknown-key"),  # near to nothing: it may be anything
]
CLEAR = [
    ({"on_treatment": 1}, "/subject/on_treatment", "not-true-or-false"),
    ({"sex": "f"}, "/subject/sex", "unknown-key"),
    ({"gravid": "no"}, "/subject/gravid", "unknown-key"),
    ({"fraill": True}, "/subject/fraill", "unknown-key"),
    ({"arm_circumference_cm": {"left": 900}}, "/subject/arm_circumference_cm/left", "out-of-range"),
    ({"arm_circumference_cm": 31}, "/subject/arm_circumference_cm", "not-an-object"),
    ({"avoid_arms": ["rigth"]}, "/subject/avoid_arms/0", "not-one-of"),
    ({"treatment_since": "2026-13-01"}, "/subject/treatment_since", "not-a-date"),
]  # fmt: skip


@pytest.mark.parametrize(("subject", "pointer", "code"), [*UNCLEAR, *CLEAR])
def test_an_urgent_reading_is_named_whatever_cannot_be_read_about_the_person(subject, pointer, code):
    given = answer(with_severe(subject))
    assert [(one["pointer"], one["code"]) for one in given["problems"]] == [(pointer, code)]
    assert given["urgent"]
    severe = "severe-in-pregnancy" if {"pregnant", "pregnent"} & set(subject) else "very-high"  # which is legible there
    assert ["severe"] in [one["readings"] for one in given["findings"] if one["rule"] == severe]
    assert len(given["readings"]) == 32


@pytest.mark.parametrize(("subject", "pointer", "code"), CLEAR)
def test_a_detail_that_decides_no_limit_counts_as_not_recorded(subject, pointer, code):
    given = answer(of({"age_years": 50, **subject}))
    assert {**given, "problems": []} == answer(of({"age_years": 50}))
    assert given["classification"]["category"]


@pytest.mark.parametrize(("side", "outcome"), [("left", "fires"), ("right", "unknown")])
def test_of_a_half_read_list_of_arms_what_could_be_read_counts_and_the_rest_is_unknown(side, outcome):
    """The arm that was misspelt may be the one a pressure must not be taken on."""
    whole = of({"age_years": 50, "avoid_arms": ["rigth", "left"]})
    given = answer({**whole, "readings": [{**one, "site": f"{side}-upper-arm"} for one in whole["readings"]]})
    assert ("arm-to-avoid" in rules_fired(given)) == (outcome == "fires")
    assert ("arm_to_avoid" in {one["item"] for one in given["undocumented"]}) == (outcome == "unknown")


def test_nobody_is_asked_to_measure_both_arms_where_a_half_read_list_names_one_to_avoid():
    whole, arms = of({"age_years": 50, "avoid_arms": ["rigth", "left"]}), ("left-upper-arm", "right-upper-arm")
    sites = [{**one, "site": arms[place // 2 % 2]} for place, one in enumerate(whole["readings"])]
    assert "home-arms-changed" not in rules_fired(answer({**whole, "readings": sites}))
    person = {"id": "s-1", "age_years": 50}
    assert "home-arms-changed" in rules_fired(answer({**whole, "subject": person, "readings": sites}))


@pytest.mark.parametrize(("subject", "pointer", "code"), UNCLEAR)
def test_nothing_is_claimed_that_depends_on_limits_which_may_not_hold(subject, pointer, code):
    given = answer(of(subject))
    assert given["classification"] == {"guideline": given["made_with"]["limits_from"], "category": None, "reason": LIMITS}
    pattern = given["pattern"]
    assert (pattern["label"], pattern["home"], pattern["office"]) == (UNDETERMINED, None, None)
    assert (pattern["chances"], pattern["no_chances"]) == (None, LIMITS)
    assert LIMITS in rules_fired(given)
    assert not rules_fired(given) & OF_LIMITS
    assert "correct-the-record" in [one["code"] for one in given["next_steps"]]
    # The figures themselves stay: they are by no limit.
    assert average(given, basis="all")["systolic"]["mean"] == 127
    assert given["classification"]["category"] is None
    assert {rule.id for rule in rules().ruleset.every_rule()} >= OF_LIMITS
    assert answer(of({"age_years": 50}))["pattern"]["label"] in PATTERNS


@pytest.mark.parametrize("detail", ["pregnant", "days_since_birth"])
def test_where_a_pregnancy_cannot_be_read_the_lower_severe_limits_hold(detail):
    given = answer(of({"age_years": 31, detail: "?"}, pressures=HIGH))
    assert given["made_with"]["limits_from"] == "isshp-2021"
    assert given["urgent"]
    assert not answer(of({"age_years": 31}, pressures=HIGH))["urgent"]
    assert "severe-in-pregnancy" not in rules_fired(given)  # nobody said that the person is pregnant


def test_a_pregnancy_that_was_read_holds_though_the_days_since_a_birth_were_not():
    given = answer(of({"age_years": 31, "pregnant": True, "days_since_birth": "none"}))
    assert given["made_with"]["limits_from"] == "isshp-2021"
    assert given["classification"]["reason"] == LIMITS


def test_an_age_that_cannot_be_read_leaves_the_limits_of_the_guideline_asked_for():
    assert answer(of({"age_years": 580}))["made_with"]["limits_from"] == "acc-aha-2025"


def test_a_child_of_whom_something_else_cannot_be_read_is_still_too_young():
    given = answer(of({"age_years": 12, "pregnant": 0}))
    assert {"under-eighteen", LIMITS} <= rules_fired(given)
    assert given["classification"]["category"] is None


def test_other_guidelines_claim_nothing_either():
    payload = of({"age_years": 580}, options={"also_under": ["esh-2023"]})
    (other,) = answer(payload)["other_guidelines"]
    assert (other["category"], other["pattern"], other["disagrees_in"]) == (None, UNDETERMINED, [])


def test_a_strict_request_is_still_refused():
    payload = of({"age_years": 580}, options={"strict": True})
    with pytest.raises(RefusedRequest) as refused:
        answer(payload)
    assert [one.pointer for one in refused.value.problems] == ["/subject/age_years"]


def test_without_a_name_nobody_is_assessed():
    for subject in ({"id": 5}, {"age_years": 50}, {"id": None}, [], None):
        with pytest.raises(RefusedRequest):
            answer_to({**week(), "subject": subject}, rules())


def test_a_line_of_a_stream_with_a_bad_detail_is_answered(client):
    body = as_ndjson([with_severe({"age_years": 580}), week()])
    lines = client.post("/v1/assessments", data=body, content_type="application/x-ndjson").data.splitlines()
    assert b'"urgent":true' in lines[0]
    assert len(lines) == 2


@pytest.fixture(scope="module")
def app():
    from heartlevel.web.application import create_app

    return create_app({"TESTING": True}, rules())


def test_every_detail_that_picks_a_guideline_or_an_age_group_counts_as_deciding():
    """A detail that changes the limits when it is recorded must leave them unclear when it cannot be read."""
    values = {"age_years": 10, "pregnant": True, "days_since_birth": 3}
    plain = answer(of({}))
    for name, field in Subject().fields.items():
        value = values.get(name, True if type(field).__name__ == "Flag" else None)
        if name == "id" or value is None:
            continue
        recorded, misread = answer(of({name: value})), answer(of({name: {}}))
        moved = (recorded["made_with"]["limits_from"], recorded["classification"]["category"]) != (
            plain["made_with"]["limits_from"], plain["classification"]["category"])  # fmt: skip
        assert (misread["classification"].get("reason") == LIMITS) == moved == (name in values)
