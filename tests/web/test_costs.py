"""What would cost much is refused before it does, or told in fewer words; nothing urgent is lost with it."""

import json
from types import SimpleNamespace

import pytest

from heartlevel import answer_to
from heartlevel.fhir.limits import MOST_COMPONENTS, MOST_PARTS, MOST_PEOPLE, MOST_RESOURCES
from heartlevel.intake.request import MOST_OTHERS, MOST_WORDED
from heartlevel.intake.texts.json_text import MOST_VALUES
from heartlevel.legible import legible_urgencies
from heartlevel.web.application import create_app
from heartlevel.web.connections import reserve
from heartlevel.web.connections.capacity import SMALL, HeldBytes, Most
from heartlevel.web.connections.spool import Kept, kept_until_read
from support import reading, rules, week

SEVERE = {"setting": "home", "systolic": 240, "diastolic": 130, "taken_at": "2026-03-02T07:10:00Z"}


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def many(item: str, count: int = MOST_VALUES) -> bytes:
    tiny = ",".join([item] * count)
    return f'{{"subject": {{"id": "s-1", "x": [{tiny}]}}, "readings": [{json.dumps(SEVERE)}]}}'.encode()


@pytest.mark.parametrize("item", ["1", "{}", '"x"'])
def test_more_values_than_a_body_may_have_are_refused_before_they_are_made(client, item):
    refused = client.post("/v1/assessments", data=many(item), content_type="application/json")
    assert (refused.status_code, refused.json["type"]) == (413, "/v1/problems/too-large")
    assert str(MOST_VALUES) in refused.json["detail"] and refused.json["urgent"]
    assert client.post("/v1/assessments", data=many(item, 1_000), content_type="application/json").status_code == 200


def test_a_line_of_more_values_than_it_may_have_costs_no_other(client):
    lines = many("1") + b"\n" + many("1", 3)
    told = client.post("/v1/assessments", data=lines, content_type="application/x-ndjson", buffered=True).data.splitlines()
    first, second = map(json.loads, told)
    assert str(MOST_VALUES) in first["detail"] and first["urgent"] and first["subject"] == {"id": "s-1"}
    assert second["urgent"] and second["subject"]["id"] == "s-1"


def test_of_very_many_faulty_readings_the_first_are_worded_and_of_each_other_how_many_faults_it_has():
    faulty = {**reading("2026-03-02T07:10:00Z", 150, 90), "setting": "hime", "pulse": "?"}
    told = answer_to({"subject": {"id": "s-1"}, "readings": [faulty] * 2_000}, rules())
    places = {problem["code"]: len(problem["places"]) for problem in told["problems"]}
    (brief,) = [problem for problem in told["problems"] if problem["code"] == "faults-not-named"]
    assert brief["detail"].startswith("2 of its fields")
    assert places["not-one-of"] == places["not-a-number"] == 2_000 - places["faults-not-named"] == MOST_WORDED // 2 + 1
    assert (told["counts"]["received"], told["counts"]["assessed"]) == (2_000, 0)


def test_a_list_beside_the_readings_is_read_up_to_its_limit():
    device = {"id": "d", "kind": "upper-arm"}
    payload = {"subject": {"id": "s-1"}, "readings": [], "devices": [device] * (MOST_OTHERS + 1)}
    codes = {(fault["code"], fault["pointer"]) for fault in answer_to(payload, rules())["problems"]}
    assert ("too-many", "/devices") in codes


def observation(patient: int = 0, **more: object) -> dict:
    return {"resource": {"resourceType": "Observation", "subject": {"reference": f"Patient/{patient}"}, **more}}


@pytest.mark.parametrize(("entries", "told"), [
    ([{}] * (MOST_RESOURCES + 1), f"{MOST_RESOURCES + 1} resources"),
    ([observation(component=[{}] * (MOST_COMPONENTS + 1))], f"{MOST_COMPONENTS + 1} components"),
    ([observation(identifier=[{}] * (MOST_PARTS + 1))], f"{MOST_PARTS + 1} parts"),
    ([observation(number) for number in range(MOST_PEOPLE + 1)], f"{MOST_PEOPLE + 1} people"),
])  # fmt: skip
def test_of_more_than_one_call_may_send_as_fhir_both_numbers_are_told(client, entries, told):
    bundle = {"resourceType": "Bundle", "entry": entries}
    refused = client.post("/v1/fhir/assessments", json=bundle)
    assert refused.status_code == 413 and refused.json["detail"].startswith(told)


def test_of_many_people_who_are_refused_all_that_is_legible_is_looked_at_in_one_go(client, monkeypatch):
    """Each look costs what an assessment costs, whatever there is to see."""
    looks = []
    monkeypatch.setattr("heartlevel.fhir.call.legible_urgencies", lambda sent, rules: looks.append(len(sent)) or (
        legible_urgencies(sent, rules)))  # fmt: skip
    people = [{"resource": {"resourceType": "Patient", "id": str(number)}} for number in range(3)]
    refused = [observation(number, effectiveDateTime=[]) for number in range(3)]
    answer = client.post("/v1/fhir/assessments", json={"resourceType": "Parameters", "parameter": [
        {"name": "strict", "valueBoolean": True}, {"name": "guideline", "valueString": "none"},
        {"name": "bundle", "resource": {"resourceType": "Bundle", "entry": people + refused}},
    ]})  # fmt: skip
    assert answer.status_code == 422 and looks == [3]


def test_a_large_answer_waits_in_a_file_and_more_than_there_is_room_for_may_be_asked_for_again(app):
    capacity = app.extensions["heartlevel-capacity"]
    over_a_socket = {"gunicorn.socket": object()}
    whole = app.test_client().get("/v1/rules").data
    with app.test_client().get("/v1/rules", environ_overrides=over_a_socket) as response:
        assert capacity.unread_bytes == len(whole) == int(response.headers["Content-Length"])
        assert b"".join(response.response) == whole
    assert capacity.unread_bytes == 0
    leave = capacity.take_answer(Most().unread_bytes)
    refused = app.test_client().get("/v1/rules", environ_overrides=over_a_socket)
    leave()
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")


def test_answers_in_files_leave_room_for_the_counters_whose_process_a_full_disk_would_end(app, monkeypatch):
    over_a_socket = {"gunicorn.socket": object()}
    free = SimpleNamespace(f_bavail=reserve.LEFT // 4096, f_frsize=4096)
    monkeypatch.setattr(reserve, "statvfs", lambda folder: free)
    refused = app.test_client().get("/v1/rules", environ_overrides=over_a_socket)
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")
    answers = kept_until_read(iter([b"a" * 100_000] * 30), lambda: iter(()), Kept(10**9, 30, to_the_end=True))
    with pytest.raises(OSError, match="No space left"):
        list(answers)
    free.f_bavail += 10_000_000
    with app.test_client().get("/v1/rules", environ_overrides=over_a_socket) as response:
        assert response.status_code == 200


def test_bytes_of_bodies_that_are_still_coming_are_counted_and_more_than_there_is_room_for_may_be_sent_again(app):
    capacity = app.extensions["heartlevel-capacity"]
    body = json.dumps(SEVERE).encode() + b" " * SMALL
    others = HeldBytes(capacity)
    others.grow(Most().body_bytes + SMALL)
    refused = app.test_client().post("/v1/assessments", data=body, content_type="application/json")
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "1")
    assert app.test_client().post("/v1/assessments", json=week()).status_code == 200  # an ordinary one is answered
    others.release()
    assert app.test_client().post("/v1/assessments", data=body, content_type="application/json").status_code == 422
    assert capacity.body_bytes == 0
