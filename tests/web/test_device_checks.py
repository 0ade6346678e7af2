"""Device checks sent alone over HTTP."""

import json

import pytest

from heartlevel import answer_to
from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from support import rules, week

EXAMPLES = shipped("openapi") / "examples"
PATH = "/v1/device-checks"


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


def pair(difference=1, **more):
    return {
        "device": {"systolic": 130 + difference, "diastolic": 80 + difference},
        "reference": {"systolic": 130, "diastolic": 80},
        **more,
    }


def check(*differences, **more):
    return {"device": "d", "pairs": [pair(one) for one in differences], **more}


CLOSE, FAR = check(1, 2, 1, 2, 1, 2), check(12, 13, 12, 14, 12, 13)


def post(client, *checks, **options):
    return client.post(PATH, json={"device_checks": list(checks), "options": options})


@pytest.mark.parametrize("name", ["several-people", "in-steps"])
def test_the_example_is_answered_as_committed(client, name):
    body = json.loads((EXAMPLES / f"{name}.checks-request.json").read_text("utf-8"))
    answer = json.loads((EXAMPLES / f"{name}.checks-answer.json").read_text("utf-8"))
    assert client.post(PATH, json=body).get_json() == answer


def test_many_checks_are_answered_in_turn_with_what_was_found(client):
    answer = post(client, CLOSE, FAR, check(1)).get_json()
    assert [one["verdict"] for one in answer["device_checks"]] == ["agrees", "disagrees", "undecided"]
    assert {one["rule"] for one in answer["findings"]} == {
        "device-disagrees", "device-check-undecided", "few-comparison-pairs"
    }  # fmt: skip
    assert {one["code"] for one in answer["next_steps"]} == {"recheck-device", "add-comparison-pairs"}
    named = {name for step in answer["next_steps"] for name in step["because"]}
    assert named == {one["id"] for one in answer["findings"]}


def test_a_check_alone_has_the_figures_it_has_in_an_assessment(client):
    whole = answer_to({**week(), "devices": [{"id": "d"}], "device_checks": [CLOSE, FAR]}, rules())
    assert post(client, CLOSE, FAR).get_json()["device_checks"] == whole["device_checks"]


@pytest.mark.parametrize(
    ("bad", "pointer"),
    [(5, "/device_checks/1"), ({"device": "d"}, "/device_checks/1/pairs"),
     ({**CLOSE, "sequence": []}, "/device_checks/1/sequence"),
     ({"device": "d", "sequence": [{"systolic": 130, "diastolic": 80}]}, "/device_checks/1/sequence/0/by"),
     ({"device": "d", "sequence": [{"by": "office", "systolic": 130, "diastolic": 80}]}, "/device_checks/1/sequence/0/by"),
     ({"device": "d", "sequence": [{"by": "device", "systolic": 1300, "diastolic": 80}]},
      "/device_checks/1/sequence/0/systolic"),
     ({"device": "d", "sequence": {}}, "/device_checks/1/sequence"),
     ({"device": "d", "pairs": [{**pair(), "occasion": 7}]}, "/device_checks/1/pairs/0/occasion"),
     ({"device": "d", "pairs": [{"device": {"systolic": "x", "diastolic": 80}, "reference": pair()["reference"]}]},
      "/device_checks/1/pairs/0/device/systolic")],
)  # fmt: skip
def test_a_check_that_cannot_be_read_is_named_and_the_others_answered(client, bad, pointer):
    response = post(client, CLOSE, bad, FAR)
    answer = response.get_json()
    assert (response.status_code, [one["pointer"] for one in answer["problems"]]) == (200, [pointer])
    assert [one["verdict"] for one in answer["device_checks"]] == ["agrees", "disagrees"]
    strict = post(client, CLOSE, bad, strict=True)
    assert (strict.status_code, [one["pointer"] for one in strict.get_json()["problems"]]) == (422, [pointer])


def test_what_is_null_counts_as_not_given(client):
    turns = [{"by": by, "systolic": 130, "diastolic": 80} for by in ("device", "device", "reference")]
    for check in ({**CLOSE, "sequence": None}, {"device": "d", "pairs": None, "sequence": turns}):
        answer = post(client, check).get_json()
        assert (len(answer["device_checks"]), answer["problems"]) == (1, [])


def test_an_unreadable_detail_costs_the_detail_alone(client):
    answer = post(client, {**CLOSE, "true_pressure": "sometimes"}).get_json()
    assert [one["pointer"] for one in answer["problems"]] == ["/device_checks/0/true_pressure"]
    assert answer["device_checks"][0]["pairs"] == 6


@pytest.mark.parametrize(
    ("body", "pointer"),
    [([], ""), ({}, "/device_checks"), ({"device_checks": 5}, "/device_checks"),
     ({"device_checks": None}, "/device_checks"),
     ({"device_checks": [], "readings": []}, "/readings"),
     ({"device_checks": [CLOSE], "options": {"protocol": "none-such"}}, "/options/protocol"),
     ({"device_checks": [CLOSE], "options": {"time_zone": "Nowhere"}}, "/options/time_zone")],
)  # fmt: skip
def test_a_request_of_the_wrong_shape_is_refused_with_its_places(client, body, pointer):
    response = client.post(PATH, json=body)
    assert response.status_code == 422
    assert pointer in {one["pointer"] for one in response.get_json()["problems"]}


def test_what_is_not_json_is_refused(client):
    assert client.post(PATH, data=b"{", content_type="application/json").status_code == 400
    assert client.post(PATH, data=b"x", content_type="text/plain").status_code == 415


def test_no_checks_are_answered_with_none(client):
    answer = post(client).get_json()
    assert (answer["device_checks"], answer["findings"], answer["next_steps"]) == ([], [], [])


def test_findings_are_worded_in_the_language_asked_for_and_explained(client):
    answer = post(client, FAR, language="es", explain="full").get_json()
    (found,) = answer["findings"]
    assert "aparato" in found["patient"] and found["reason"]["condition"]["fact"] == "check_verdict"
