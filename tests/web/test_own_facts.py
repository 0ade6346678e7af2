"""Facts of one's own over HTTP: requests, what is listed and described, trials, and files that change."""

import json
import re

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from heartlevel.web.application import create_app
from own_layer import FACTS, OWN_RULES, RULES, own_layer, own_rules
from support import as_ndjson, rules, rules_fired, week

BATHED = week(days=1, technique={"after_hot_bath": True})


@pytest.fixture
def folder(tmp_path):
    return own_layer(tmp_path)


@pytest.fixture
def app(folder):
    return create_app({"LAYERS": str(folder)}, own_rules())


def validator(document: dict, name: str) -> Draft202012Validator:
    registry = Registry().with_resource("urn:contract", Resource.from_contents(document, DRAFT202012))
    return Draft202012Validator({"$ref": f"urn:contract#/components/schemas/{name}"}, registry=registry)


def test_a_request_gets_its_finding_and_a_bad_value_its_problem(client):
    answer = client.post("/v1/assessments", json=BATHED).get_json()
    assert "after-hot-bath" in [finding["rule"] for finding in answer["findings"]]
    answer = client.post("/v1/assessments", json=week(days=1, technique={"room_temperature": 4})).get_json()
    (problem,) = answer["problems"]
    assert (problem["pointer"], problem["code"]) == ("/readings/0/technique/room_temperature", "out-of-range")
    assert problem["detail"] == "found 4; expected a number from 5 to 40 Cel"
    assert len(problem["places"]) == len(answer["readings"]) == 4


def test_a_strict_request_is_refused_for_a_bad_value(client):
    sent = week(days=1, technique={"garment_under_cuff": "shrt"}, options={"strict": True})
    response = client.post("/v1/assessments", json=sent)
    assert response.status_code == 422
    assert {problem["hint"] for problem in response.get_json()["problems"]} == {"did you mean 'shirt'?"}


def test_streams_know_them_too(client):
    lines = client.post("/v1/assessments", data=as_ndjson([BATHED, week(days=1)]), content_type="application/x-ndjson").text
    fired = [rules_fired(json.loads(line)) & set(OWN_RULES) for line in lines.splitlines()]
    assert fired == [{"after-hot-bath"}, set()]


def test_facts_are_listed_with_where_they_come_from(client):
    document = client.get("/v1/openapi.json").get_json()
    listed = {fact["name"]: fact for fact in client.get("/v1/facts").get_json()["facts"]}
    for fact in listed.values():
        validator(document, "Fact").validate(fact)
    room = listed["room_temperature"]
    assert (room["unit"], room["range"], room["recorded_with"], room["formula"]) == ("Cel", [5, 40], "reading", "recorded")
    assert room["provenance"] == {"layer": "clinic", "file": "clinic/facts/ours.yaml", "line": 14, "changes": []}
    assert room["sources"] == [{"cite": "Common practice", "standing": "common-practice"}]
    assert "provenance" not in listed["talking"]


def test_the_contract_that_is_served_describes_them(client):
    document = client.get("/v1/openapi.json").get_json()
    validate(document)
    envelope = validator(document, "Envelope")
    assert envelope.is_valid(BATHED | {"device_checks": None, "periods": None, "devices": []})
    wrong = [{"room_temperature": 4}, {"garment_under_cuff": "shrt"}, {"after_hot_bath": 1}, {"after_hot_bat": True}]
    assert not any(envelope.is_valid(week(days=1, technique=technique)) for technique in wrong)
    described = document["components"]["schemas"]
    assert described["Technique"]["properties"]["room_temperature"]["x-ucum-unit"] == "Cel"
    assert {"shown_how"} <= set(described["Subject"]["properties"])
    assert {"battery_changed_days"} <= set(described["Device"]["properties"])


WRITTEN = {
    "after_hot_bath": ["true", " TRUE ", "yes", "1", "tru e"],
    "garment_under_cuff": ["Thick sleeve", "THICK_SLEEVE", "thick  sleeve ", "thicksleve", "thick,sleeve", "None"],
    "room_temperature": ["17,5", " 17.5 ", "1.75e1", "17 C", "1,000", "4,9"],
}


@pytest.mark.parametrize(("name", "text"), [(name, text) for name, texts in WRITTEN.items() for text in texts])
def test_how_else_their_values_may_be_written_is_in_the_contract_as_of_shipped_fields(client, name, text):
    """What `x-also-read` takes is read without a problem about how it is written; what it does not take has one."""
    described = client.get("/v1/openapi.json").get_json()["components"]["schemas"]["Technique"]["properties"]
    takes = re.fullmatch(described[name]["x-also-read"]["pattern"], text) is not None
    told = client.post("/v1/assessments", json=week(days=1, technique={name: text})).get_json()["problems"]
    assert takes == (not {fault["code"] for fault in told} - {"out-of-range"})


def test_a_trial_knows_the_facts_of_its_candidate(client):
    files = {"layer.yaml": 'name: clinic\nrevision: "2"\n', "facts/ours.yaml": FACTS.replace("[5, 40]", "[5, 41]"),
             "reading/ours.yaml": RULES.replace("below: 18", "below: 17")}  # fmt: skip
    files["reading/ours.yaml"] = files["reading/ours.yaml"].replace("temperature: 17}", "temperature: 16}")
    asked = [week(days=1, technique={"room_temperature": degrees}) for degrees in (16, 17.5, 41)]
    answer = client.post("/v1/rules/trial", json={"files": files, "requests": asked}).get_json()
    assert answer["totals"]["findings_lost"]["cold-room"] == 1, answer


def test_a_changed_declaration_is_taken_over_without_a_restart(app, client, folder):
    def seen() -> tuple[list, list]:
        answer = client.post("/v1/assessments", json=week(days=1, technique={"after_cold_bath": True})).get_json()
        return [one["code"] for one in answer["problems"]], [one["rule"] for one in answer["findings"]]

    codes, _ = seen()
    assert codes == ["unknown-key"]
    for inner, text in (("facts", FACTS), ("reading", RULES)):
        (folder / inner / "ours.yaml").write_text(text.replace("after_hot_bath", "after_cold_bath"))
    (folder / "layer.yaml").write_text('name: clinic\nrevision: "2"\n')
    for _ in range(2):
        app.extensions["heartlevel"].look()
    assert client.get("/ready").get_json()["refused"] == []
    codes, fired = seen()
    assert codes == [] and "after-hot-bath" in fired
    assert "after_cold_bath" in client.get("/v1/openapi.json").text
    assert "after_hot_bath" not in client.get("/v1/openapi.json").text


def test_without_a_layer_the_contract_is_served_as_it_is_shipped():
    plain = create_app({}, rules()).test_client()
    assert "after_hot_bath" not in plain.get("/v1/openapi.json").text
