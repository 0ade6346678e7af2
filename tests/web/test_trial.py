"""Candidate rule files tried over HTTP."""

import os

import pytest

from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from heartlevel.web.rules import trials
from heartlevel.web.rules.noticeboard import OneAtATime
from support import rules, week

POSTURE = (shipped("rules") / "reading" / "posture.yaml").read_text(encoding="utf-8")
CROSSED = week(technique={"legs_crossed": True})
LAYER = 'name: Clinic\nrevision: "1"\nchanges: [{of: rule, id: legs-crossed, off: true, reason: Our chairs}]\n'


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


def trial(client, files: object, *requests: object):
    return client.post("/v1/rules/trial", json={"files": files, "requests": list(requests)})


def test_a_layer_is_tried_without_touching_the_rules_in_force(client):
    answer = trial(client, {"layer.yaml": LAYER}, CROSSED, week(), {"subject": 5}).get_json()
    assert [(one["line"], one["subject"], one["findings"]) for one in answer["changes"]] == [
        (1, "s-1", {"gained": [], "lost": ["legs-crossed", "mostly-doubtful-technique"]})
    ]
    assert (answer["totals"]["subjects"], answer["totals"]["findings_lost"]["legs-crossed"]) == (3, 1)
    assert answer["rules"]["in_force"] == rules().ruleset.fingerprint != answer["rules"]["candidate"]
    assert client.get("/ready").get_json()["rules"]["fingerprint"] == rules().ruleset.fingerprint


def test_words_that_change_alone_are_told_and_counted_apart(client):
    layer = LAYER.replace("off: true", "set: {advice: Put both feet down.}")
    totals = trial(client, {"layer.yaml": layer}, CROSSED, week()).get_json()["totals"]
    assert (totals["subjects"], totals["changed"], totals["in_other_parts_only"]) == (2, 0, 1)
    assert totals["other_parts"]["findings"] == 1 and totals["by_field"] == {}


def test_a_file_stands_in_place_of_the_one_of_its_name(client):
    answer = trial(client, {"reading/posture.yaml": POSTURE}, CROSSED).get_json()
    assert (answer["changes"], answer["rules"]["candidate"]) == ([], answer["rules"]["in_force"])


def test_mistakes_in_the_candidate_are_named_with_their_places(client):
    response = trial(client, {"reading/posture.yaml": POSTURE.replace("legs_crossed:", "legs_crosed:", 1)}, CROSSED)
    assert response.status_code == 422
    (fault,) = [one for one in response.get_json()["faults"] if one["code"] == "unknown-fact"][:1]
    assert (fault["file"], fault["hint"]) == ("reading/posture.yaml", "did you mean 'legs_crossed'?")
    assert fault["line"] > 1 and fault["cure"]


@pytest.mark.parametrize(
    "name", ["../x.yaml", "/etc/x.yaml", "reading/x.txt", "a/../b.yaml", "", "a" * 300 + ".yaml", "a/" * 3_000 + "a.yaml"]
)
def test_a_file_cannot_be_put_elsewhere(client, name):
    response = trial(client, {name: "[]"}, CROSSED)
    assert response.status_code == 422
    assert response.get_json()["problems"][0]["pointer"].startswith("/files/")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [({}, "/files"), ({"files": 1, "requests": []}, "/files"), ({"files": {"a.yaml": 1}, "requests": []}, "/files/a.yaml"),
     ({"files": {}, "requests": [1] * 501}, "/requests"), ([], ""),
     ({"files": {"a.yaml": "\ud800"}, "requests": []}, "/files/a.yaml"),
     ({"files": {f"a{number}.yaml": "" for number in range(501)}, "requests": []}, "/files")],
)  # fmt: skip
def test_what_is_wrong_with_the_request_is_named(client, body, pointer):
    response = client.post("/v1/rules/trial", json=body)
    assert response.status_code == 422
    assert pointer in [one["pointer"] for one in response.get_json()["problems"]]


def test_half_a_character_in_a_file_is_no_text(client):
    refused = trial(client, {"layer.yaml": "name: \ud800"}, CROSSED)
    assert refused.status_code == 422
    assert [(fault["pointer"], fault["code"]) for fault in refused.json["problems"]] == [
        ("/files/layer.yaml", "not-a-text")
    ]
    assert "half a character" in refused.json["problems"][0]["hint"]


def test_a_second_trial_has_to_wait(client):
    with trials.ONE_AT_A_TIME.taken() as is_mine:
        assert is_mine
        refused = trial(client, {"layer.yaml": LAYER}, CROSSED)
        assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")
    assert trial(client, {"layer.yaml": LAYER}, CROSSED).status_code == 200


def test_another_worker_has_to_wait_too():
    turn = OneAtATime()
    with turn.taken() as is_mine:
        assert is_mine
        worker = os.fork()
        if worker == 0:
            with turn.taken() as is_its:
                os._exit(0 if is_its else 3)
        assert os.waitstatus_to_exitcode(os.waitpid(worker, 0)[1]) == 3
    with turn.taken() as is_mine:
        assert is_mine


def test_a_trial_that_takes_too_long_of_a_processor_is_refused_and_says_what_to_do(client, monkeypatch):
    monkeypatch.setattr(trials, "MOST_SECONDS", 0.01)
    refused = trial(client, {"layer.yaml": LAYER}, CROSSED)
    assert (refused.status_code, refused.get_json()["type"]) == (413, "/v1/problems/too-large")
    assert refused.get_json()["detail"].endswith("send fewer requests, or less in the candidate's files")
    assert trial(client, {}, CROSSED).status_code == 413  # and the next has its turn


def test_more_readings_than_are_assessed_in_the_time_of_a_request_are_refused(client, monkeypatch):
    monkeypatch.setattr(trials, "MOST_READINGS_TRIED", 2 * len(CROSSED["readings"]))
    assert trial(client, {"layer.yaml": LAYER}, CROSSED, CROSSED, {"readings": 5}, 7).status_code == 200
    refused = trial(client, {"layer.yaml": LAYER}, CROSSED, CROSSED, CROSSED)
    assert refused.status_code == 413
    assert "84 readings in its requests; one request may hold 56" in refused.get_json()["detail"]
