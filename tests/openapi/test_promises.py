"""What the contract promises holds for all of it: one way to say nothing, listed codes, limits, examples, notice."""

import json
import re
from collections.abc import Iterator
from copy import deepcopy
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012
from werkzeug.http import parse_date

from heartlevel.intake.ndjson import LONGEST_LINE
from heartlevel.intake.request import MOST_READINGS
from heartlevel.resources import shipped
from heartlevel.ruling.language.cures import CURES
from heartlevel.version import VERSION
from heartlevel.web.application import create_app
from heartlevel.web.promises.deprecation import announce_deprecations, deprecations
from heartlevel.web.promises.kinds import KINDS
from heartlevel.web.rules import trials
from support import answer, demo, demo_answers, examples, reached, rules, week

CONTRACT = json.loads((shipped("openapi") / "openapi.json").read_text(encoding="utf-8"))
SCHEMAS = CONTRACT["components"]["schemas"]


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": 5_000, "MOST_READINGS": 3, "RELOAD_SECONDS": 0}, rules())


def parts(value: object) -> Iterator[dict]:
    if isinstance(value, dict):
        yield value
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from parts(inner)


def may_be_null(field: dict) -> bool:
    kinds = field.get("type")
    return "null" in kinds if isinstance(kinds, list) else {"type": "null"} in field.get("anyOf", []) or not (
        field.keys() - {"description", "nullable"}
    )  # fmt: skip


def test_whatever_may_be_absent_may_be_null():
    """Null and absent say the same, and a client needs one way to read both."""
    absent = {
        f"{title}.{name}": field
        for title, schema in SCHEMAS.items()
        for name, field in schema.get("properties", {}).items()
        if name not in schema.get("required", ())
    }
    assert len(absent) > 100
    assert [name for name, field in absent.items() if not may_be_null(field)] == []


def places_of_nothing(payload: dict) -> list[tuple[tuple, str]]:
    """Where in a request a declared field is not there: the path of the object, and the field."""
    kinds = [((), "Envelope"), (("subject",), "Subject")]
    kinds += [(("readings", index), "Reading") for index in range(len(payload["readings"]))]
    kinds += [(("devices", index), "Device") for index in range(len(payload.get("devices", ())))]
    kinds += [
        ((*path, "technique"), "Technique")
        for path, kind in kinds
        if kind == "Reading" and "technique" in at(payload, path)
    ]
    return [(path, name) for path, kind in kinds for name in SCHEMAS[kind]["properties"] if name not in at(payload, path)]


def at(payload: dict, path: tuple):
    for key in path:
        payload = payload[key]
    return payload


@settings(max_examples=examples(10), deadline=None)
@given(st.sampled_from(range(12)), st.data())
def test_a_field_that_is_null_is_answered_as_one_that_is_absent(number, data):
    payload = demo()[number]
    payload["readings"] = payload["readings"][:6]
    filled = deepcopy(payload)
    chosen = data.draw(st.lists(st.sampled_from(places_of_nothing(payload)), min_size=1, max_size=12))
    for path, name in chosen:
        at(filled, path)[name] = None
    assert answer(filled) == answer(payload)


def test_what_an_answer_always_has_is_what_the_contract_requires():
    for told in demo_answers():
        assert set(SCHEMAS["Answer"]["required"]) <= told.keys()
        assert all(key.isascii() for part in parts(told) for key in part)
    assert all(key.isascii() for part in parts(CONTRACT) for key in part)


CODES = re.compile(
    r"code|codes|rule|rules|reason|reasons|guideline|protocol|category|language|limits_from|no_\w+|kind|level|label|settled"
    r"|severity|reliability|state|sureness|because|next_step|verdict|effect|scope"
)
# Names of findings of the same answer, and objects.
NO_CODES = {"FindingGiven.reason", "PatternFound.because", "NextStep.because", "MadeWith.rules"}


def listed(field: dict) -> bool:
    return any(
        "enum" in part or re.search(r"/(\w+(Code|Id|Reason|Tag|Name|Type))$", str(part.get("$ref")))
        for part in parts(field)
    )


def test_every_code_of_an_answer_is_listed():
    titles = reached(CONTRACT, "Answer") | {"RuleFault", "Problem"}
    fields = {(title, name): field for title in titles for name, field in SCHEMAS[title].get("properties", {}).items()}
    told = {f"{title}.{name}" for (title, name), field in fields.items() if CODES.fullmatch(name) and not listed(field)}
    assert told == NO_CODES


def test_codes_are_those_of_the_rules_and_an_open_list_takes_others():
    ids = {rule.id for rule in rules().ruleset.every_rule()}
    assert set(SCHEMAS["RuleId"]["enum"]) == ids
    assert set(SCHEMAS["RuleFaultCode"]["enum"]) == set(CURES)
    assert {"type": "string"} in SCHEMAS["FindingGiven"]["properties"]["rule"]["anyOf"]
    known, found = set(SCHEMAS["ProblemCode"]["enum"]), {one["code"] for told in demo_answers() for one in told["problems"]}
    assert found
    assert found <= known


def test_limits_are_those_the_service_has():
    limits = CONTRACT["info"]["x-limits"]
    assert SCHEMAS["Envelope"]["properties"]["readings"]["maxItems"] == limits["readings"] == MOST_READINGS
    assert (limits["body_bytes"], limits["line_bytes"]) == (
        create_app({}, rules()).config["MAX_CONTENT_LENGTH"],
        LONGEST_LINE,
    )


def test_security_is_declared_as_what_an_installation_may_ask_for():
    assert CONTRACT["security"][0] == {}
    assert {scheme["type"] for scheme in CONTRACT["components"]["securitySchemes"].values()} == {"http"}


def test_every_example_is_as_its_schema_says_and_every_json_answer_but_a_stream_has_one():
    registry = Registry().with_resource("urn:contract", Resource.from_contents(CONTRACT, DRAFT202012))
    described = parts([CONTRACT["paths"], CONTRACT["components"]["responses"]])
    bodies = [part for part in described if {"schema", "examples"} <= part.keys()]
    assert len(bodies) > 15
    relative = [json.loads(json.dumps(body["schema"]).replace('"#/', '"urn:contract#/')) for body in bodies]
    for schema, body in zip(relative, bodies, strict=True):
        for example in body["examples"].values():
            Draft202012Validator(schema, registry=registry).validate(example["value"])


BROKEN = {
    "not-json": ("POST", "/v1/assessments", {"data": b"{", "content_type": "application/json"}),
    "damaged-body": ("POST", "/v1/assessments", {"data": b"{", "content_type": "application/json",
                                                 "headers": {"Content-Encoding": "gzip"}}),
    "not-as-described": ("POST", "/cds-services/blood-pressure/feedback", {"json": {}}),
    "not-found": ("GET", "/v1/rules/no-such-rule", {}),
    "method-not-allowed": ("DELETE", "/v1/rules", {}),
    "other-rules": ("GET", "/v1/rules", {"headers": {"If-Match": '"other"'}}),
    "not-prefetched": ("POST", "/cds-services/blood-pressure", {"json": {"hook": "patient-view", "hookInstance": "x",
                                                                         "context": {"patientId": "x"}}}),
    "too-large": ("POST", "/v1/assessments", {"json": {"x": "x" * 6_000}}),
    "too-many-readings": ("POST", "/v1/assessments", {"json": week(1)}),
    "other-media-type": ("POST", "/v1/assessments", {"data": b"{}", "content_type": "text/plain"}),
    "other-coding": ("POST", "/v1/assessments", {"data": b"{}", "content_type": "application/json",
                                                 "headers": {"Content-Encoding": "br"}}),
    "refused": ("POST", "/v1/assessments", {"json": {}}),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_a_problem_says_its_kind_and_the_kind_has_a_page(client, name):
    method, path, body = BROKEN[name]
    told = client.open(path, method=method, **body).json
    assert (told["type"], told["status"]) == (f"/v1/problems/{name}", KINDS[name].status)
    assert told["instance"] == f"{told['type']}#{told['request_id']}"
    page = client.get(told["type"])
    assert (page.status_code, page.json["title"]) == (200, told["title"])
    html = client.get(told["type"], headers={"Accept": "text/html, application/xhtml+xml, */*;q=0.1"})
    assert html.content_type == "text/html; charset=utf-8"
    assert f"<h1>{told['title']}</h1>" in html.text


def test_the_files_of_a_trial_are_limited_as_the_contract_says():
    files = SCHEMAS["TrialRequest"]["properties"]["files"]
    assert files["propertyNames"]["pattern"] == f"^{trials.FILE_NAME.pattern}$"
    assert files["maxProperties"] == trials.MOST_FILES
    assert SCHEMAS["TrialRequest"]["properties"]["requests"]["maxItems"] == trials.MOST_REQUESTS


def test_kinds_are_listed_and_another_has_no_page(client):
    assert [kind["type"] for kind in client.get("/v1/problems").json["problems"]] == [kind.uri for kind in KINDS.values()]
    assert set(SCHEMAS["ProblemType"]["enum"]) == {kind.uri for kind in KINDS.values()}
    assert client.get("/v1/problems/no-such-kind").json["type"] == "/v1/problems/not-found"


def test_what_changed_is_served_and_names_this_version(client):
    page = client.get("/v1/changes")
    assert page.mimetype == "text/markdown"
    assert f"## {VERSION}" in page.text
    assert all(f"`{part['x-sunset-on']}`" in page.text for part in parts(CONTRACT) if part.get("deprecated"))


def test_nothing_is_deprecated_now_and_nothing_is_said_of_it(client):
    assert deprecations(CONTRACT) == {}
    assert not {"Deprecation", "Sunset"} & set(client.get("/v1/rules").headers.keys())


def test_what_the_contract_declares_as_deprecated_is_announced_by_its_operations():
    """A field of what is taken, and an operation; `Deprecation` is a date of RFC 9651, seconds after 1970 behind an @."""
    contract, app = deepcopy(CONTRACT), create_app({"RELOAD_SECONDS": 0}, rules())
    dates = {"deprecated": True, "x-deprecated-on": "2027-01-01", "x-sunset-on": "2028-01-01"}
    contract["components"]["schemas"]["Subject"]["properties"]["frail"] |= dates
    contract["paths"]["/v1/rules/{name}"]["get"] |= {**dates, "x-sunset-on": "2029-06-30"}
    announce_deprecations(app, contract)
    client = app.test_client()
    told = client.post("/v1/assessments", json=week(1)).headers
    assert told["Deprecation"] == f"@{int(datetime(2027, 1, 1, tzinfo=UTC).timestamp())}" == "@1798761600"
    assert parse_date(told["Sunset"]).date() == date(2028, 1, 1)
    assert client.get(told["Link"].partition(">")[0].strip("<")).status_code == 200
    assert parse_date(client.get("/v1/rules/legs-crossed").headers["Sunset"]).date() == date(2029, 6, 30)
    assert "Deprecation" not in client.get("/v1/rules").headers
