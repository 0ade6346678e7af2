"""The OpenAPI document says what the service does."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from heartlevel import RefusedRequest, answer_to
from heartlevel.resources import shipped
from heartlevel.statistics.alternatives import (
    BY_BIAS,
    BY_HEIGHT,
    BY_PROTOCOL,
    BY_TECHNIQUE,
    MEAN_OF_DAYS,
    WITHOUT_EXTREME_DAY,
)
from heartlevel.statistics.selection import ALTERNATIVES, BASES
from heartlevel.web.application import create_app
from support import demo, demo_answers, reached, rules

FOLDER = shipped("openapi")
DOCUMENT = json.loads((FOLDER / "openapi.json").read_text(encoding="utf-8"))
EXAMPLES = sorted(path.name.removesuffix(".request.json") for path in (FOLDER / "examples").glob("*.request.json"))


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


def closed(part):
    """The contract with no room for what it does not declare: answers have that, for fields to come."""
    if isinstance(part, list):
        return [closed(item) for item in part]
    if not isinstance(part, dict):
        return part
    inner = {name: closed(value) for name, value in part.items()}
    return {"additionalProperties": False, **inner} if isinstance(part.get("properties"), dict) else inner


def validator(name: str) -> Draft202012Validator:
    registry = Registry().with_resource("urn:contract", Resource.from_contents(closed(DOCUMENT), DRAFT202012))
    return Draft202012Validator({"$ref": f"urn:contract#/components/schemas/{name}"}, registry=registry)


def example(name: str, kind: str) -> dict:
    return json.loads((FOLDER / "examples" / f"{name}.{kind}.json").read_text(encoding="utf-8"))


def test_the_document_is_valid_openapi():
    validate(DOCUMENT)


def test_the_committed_files_are_those_the_declarations_give():
    made = subprocess.run([sys.executable, FOLDER / "generate.py", "--check"], capture_output=True, text=True)
    assert (made.returncode, made.stdout) == (0, "")


def test_every_route_is_described_and_every_description_has_a_route(app):
    routes = {
        (re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule), method.lower())
        for rule in app.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }
    assert routes == {(path, method) for path, methods in DOCUMENT["paths"].items() for method in methods}


def explained() -> list[dict]:
    payloads = [{**payload, "options": {**payload.get("options", {}), "explain": "full"}} for payload in demo()[:8]]
    return [answer_to(payload, rules()) for payload in payloads]


def test_demo_answers_are_as_described():
    described = validator("Answer")
    for answer in [*demo_answers(), *explained()]:
        described.validate(answer)


def test_every_described_part_of_an_answer_occurs_in_some_demo_answer():
    written = json.dumps([*demo_answers(), *explained()])
    described = {
        name
        for title in reached(DOCUMENT, "Answer")
        for name in DOCUMENT["components"]["schemas"][title].get("properties", {})
    }
    assert {name for name in described if f'"{name}":' not in written} == set()


def test_the_described_names_of_averages_and_alternatives_are_those_given():
    answers = demo_answers()
    assert {one["basis"] for answer in answers for one in answer["averages"]} == set(BASES)
    given = {one["name"] for answer in answers for one in answer["classification"].get("alternatives", [])}
    protocols = {BY_PROTOCOL + one for one in rules().ruleset.protocols}
    assert given == {*ALTERNATIVES, WITHOUT_EXTREME_DAY, MEAN_OF_DAYS, BY_HEIGHT, BY_BIAS, BY_TECHNIQUE} | protocols


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_answered_over_http_as_committed(client, name):
    request = example(name, "request")
    validator_agrees = validator("Envelope").is_valid(request)
    response = client.post("/v1/assessments", json=request)
    assert (response.status_code, response.get_json()) == (200, example(name, "answer"))
    assert validator_agrees == (not [one for one in response.get_json()["problems"] if one["code"] in SCHEMA_CODES])


SCHEMA_CODES = {"out-of-range", "not-one-of", "unknown-key", "missing", "not-a-number"}


def test_there_are_examples():
    assert len(EXAMPLES) >= 4


def test_a_refusal_is_as_described(client):
    response = client.post("/v1/assessments", json={"readings": [], "subject": {"age_years": "x"}, "option": 1})
    validator("Problem").validate(response.get_json())
    assert [one["pointer"] for one in response.get_json()["problems"]] == ["/option", "/subject/age_years", "/subject/id"]


def test_a_trial_and_its_mistakes_are_as_described(client):
    requests = [payload for payload in demo() if payload["subject"]["id"] in ("s-08", "s-15")]
    raised = {"systolic": 135, "diastolic": 85}
    categories = [{"id": "normal", "title": "Normal"}, {"id": "raised", "title": "Hypertension", "from": raised}]
    changed = [{"of": "guideline", "id": "acc-aha-2025", "reason": "x",
                "set": {"limits": {"home": {"hypertension": raised}}, "categories": {"home": categories}}},
               {"of": "rule", "id": "legs-crossed", "set": {"effect": "unusable"}, "reason": "x"}]  # fmt: skip
    layer = {"name": "Clinic", "revision": "1", "changes": changed}
    body = {"files": {"layer.yaml": json.dumps(layer)}, "requests": requests}
    validator("TrialRequest").validate(body)
    response = client.post("/v1/rules/trial", json=body)
    validator("Trial").validate(response.get_json())
    assert len(response.get_json()["changes"]) == 2
    refused = client.post("/v1/rules/trial", json={"files": {"reading/x.yaml": "- id: x"}, "requests": []})
    validator("Problem").validate(refused.get_json())
    assert refused.get_json()["faults"]


@pytest.mark.parametrize(
    ("path", "name"),
    [("rules", "RuleInForce"), ("guidelines", "Guideline"), ("protocols", "Protocol"), ("facts", "Fact")],
)
def test_what_the_service_judges_by_is_as_described(client, path, name):
    listed = client.get(f"/v1/{path}").get_json()[path]
    assert listed
    for one in listed:
        validator(name).validate(one)


def test_the_document_is_served(client):
    assert client.get("/v1/openapi.json").get_json() == DOCUMENT


def test_the_schema_refuses_what_intake_refuses():
    payload = demo()[0] | {"subject": {"id": ""}}
    assert not validator("Envelope").is_valid(payload)
    with pytest.raises(RefusedRequest):
        answer_to(payload, rules())


def test_no_place_on_a_machine_is_in_the_document():
    assert str(Path.home()) not in json.dumps(DOCUMENT)
