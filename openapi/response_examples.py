"""Examples of the document: requests, and what the service answers to them, asked for while it is written."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import orjson
from flask.testing import FlaskClient

from heartlevel import Rules
from heartlevel.web.application import create_app

JSON, PROBLEM, FHIR = "application/json", "application/problem+json", "application/fhir+json"
NAME = {"X-Request-Id": "example"}
MOST_ITEMS = 1  # of a list in the answer to a GET
LONGEST_ANSWER = 10_000  # bytes; `openapi/examples/` has the longer ones
NOBODY: dict[str, Any] = {"readings": [], "subject": {"age_years": "fifty"}}
PANEL = {
    "resourceType": "Observation", "status": "final", "effectiveDateTime": "2026-03-02T07:10:00+01:00",
    "subject": {"reference": "Patient/s-01"}, "code": {"coding": [{"system": "http://loinc.org", "code": "85354-9"}]},
    "component": [
        {"code": {"coding": [{"system": "http://loinc.org", "code": code}]},
         "valueQuantity": {"value": value, "system": "http://unitsofmeasure.org", "code": "mm[Hg]"}}
        for code, value in (("8480-6", 142), ("8462-4", 88))
    ],
}  # fmt: skip
BUNDLE = {"resourceType": "Bundle", "type": "collection",
          "entry": [{"resource": {"resourceType": "Patient", "id": "s-01"}}, {"resource": PANEL}]}  # fmt: skip
HOOK = {"hook": "patient-view", "hookInstance": "d1577c69-dfbe-44ad-ba6d-3e05e953b2ea", "context": {"patientId": "s-01"}}
NO_READINGS = {"resourceType": "Bundle", "type": "searchset"}
PREFETCH = {"patient": {"resourceType": "Patient", "id": "s-01"}, "pressures": NO_READINGS}
FEEDBACK = {"feedback": [{"outcome": "accepted"}]}


@dataclass(frozen=True, slots=True)
class Exchange:
    """A request, as an example has it, and what was answered."""

    path: str  # as in the document
    method: str
    name: str
    sent: Any
    status: int
    kind: str
    answer: Any


def responses(rules: Rules, requests: Mapping[str, Any], checks: Mapping[str, Any]) -> Iterator[Exchange]:
    """Yield what the service answers to the examples, and to every GET that has a JSON answer."""
    client = create_app({"RELOAD_SECONDS": 0}, rules).test_client()
    for name, request in requests.items():
        yield _posted(client, "/v1/assessments", name, request)
    yield _posted(client, "/v1/assessments", "nobody", NOBODY)
    for name, request in checks.items():
        yield _posted(client, "/v1/device-checks", name, request)
    yield _posted(client, "/v1/fhir/assessments", "one-panel", BUNDLE, Accept=JSON)
    yield _posted(client, "/cds-services/blood-pressure", "no-readings", {**HOOK, "prefetch": PREFETCH})
    yield _posted(client, "/cds-services/blood-pressure", "not-prefetched", HOOK)
    yield _posted(client, "/cds-services/blood-pressure/feedback", "accepted", FEEDBACK)
    for path in ("/cds-services", "/v1/fhir/codes", "/v1/rules", "/v1/guidelines", "/v1/protocols", "/v1/facts", "/health",
                 "/ready", "/v1/problems"):  # fmt: skip
        yield _got(client, path, path)
    for path, name in (("/v1/rules/{name}", "legs-crossed"), ("/v1/problems/{name}", "refused")):
        yield _got(client, path, path.format(name=name))
        yield _got(client, path, path.format(name="no-such-name"))


def _posted(client: FlaskClient, path: str, name: str, sent: Any, **headers: str) -> Exchange:
    reply = client.post(path, json=sent, headers=NAME | headers)
    return Exchange(path, "post", name, sent, reply.status_code, str(reply.mimetype), reply.get_json())


def _got(client: FlaskClient, path: str, address: str) -> Exchange:
    reply = client.get(address, headers=NAME)
    answer = {name: value[:MOST_ITEMS] if isinstance(value, list) else value for name, value in reply.get_json().items()}
    shown = answer if address == path else reply.get_json()
    return Exchange(path, "get", "example", None, reply.status_code, str(reply.mimetype), shown)


def add_examples(whole: dict[str, Any], exchanges: Iterator[Exchange]) -> None:
    """Put the examples beside the schemas; a request in which anything is at fault has its answer alone."""
    shared = whole["components"]["responses"]
    for exchange in exchanges:
        operation = whole["paths"][exchange.path][exchange.method]
        sound = exchange.status == 200 and not exchange.answer.get("problems")  # noqa: PLR2004 -- OK
        if exchange.sent is not None and sound:
            sent = operation["requestBody"]["content"][JSON]
            sent.setdefault("examples", {})[exchange.name] = {"value": exchange.sent}
        if len(orjson.dumps(exchange.answer)) > LONGEST_ANSWER:
            continue
        response = operation["responses"][str(exchange.status)]
        response = shared[response["$ref"].rpartition("/")[2]] if "$ref" in response else response
        response["content"][exchange.kind].setdefault("examples", {})[exchange.name] = {"value": exchange.answer}
