"""Headers are described: whatever header an answer has is named for it in the contract, and what is taken is taken."""

import json
import re

import pytest

from exchange.resources import bundle, parameters, patient, pressure
from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from support import rules, week

CONTRACT = json.loads((shipped("openapi") / "openapi.json").read_text(encoding="utf-8"))
OF_HTTP = {"content-type", "content-length", "date", "server", "connection"}  # said by HTTP itself, or by its server
JSON, PAGE = "application/json", "https://records.example"
TRACE = {"traceparent": "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01", "tracestate": "other=t61rcWkgMzE"}
HOOK = {"hook": "patient-view", "hookInstance": "x", "context": {"patientId": "p-1"},
        "prefetch": {"patient": patient(), "pressures": bundle(pressure("o-1"))}}  # fmt: skip
BODIES = {
    "/v1/assessments": week(1), "/v1/device-checks": {"device_checks": []}, "/v1/log-sheets": week(1),
    "/v1/patient-sheets": week(1), "/v1/rules/trial": {}, "/cds-services/blood-pressure": HOOK,
    "/v1/fhir/assessments": parameters(patient(), pressure("o-1")),
    "/cds-services/blood-pressure/feedback": {"feedback": []}, "/v1/tables": "a,b\n1,2\n",
}  # fmt: skip
EXAMPLES = {"name": "legs-crossed"}
OPERATIONS = [(path, method) for path, methods in CONTRACT["paths"].items() for method in methods]
REFUSED = {
    "no json": {"data": b"{", "content_type": JSON},
    "another kind": {"data": b"{}", "content_type": "text/plain"},
    "another coding": {"data": b"{}", "content_type": JSON, "headers": {"Content-Encoding": "br"}},
    "other rules": {"data": b"{}", "content_type": JSON, "headers": {"If-Match": '"other"'}},
    "too large": {"data": b" " * 30_000, "content_type": JSON},
}


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": 20_000, "RELOAD_SECONDS": 0, "CDS_ORIGINS": PAGE}, rules())


def described(path: str, method: str, status: int) -> set[str]:
    responses = CONTRACT["paths"][path][method]["responses"]
    response = responses.get(str(status), responses["default"])
    if "$ref" in response:
        response = CONTRACT["components"]["responses"][response["$ref"].rpartition("/")[2]]
    return {name.lower() for name in response.get("headers", {})}


def called(client, path: str, method: str, **more):
    if method == "post" and "data" not in more:
        body = BODIES[path]
        text = {"data": body, "content_type": "text/csv"} if isinstance(body, str) else {"json": body}
        more = {**text, **more}
    return client.open(path.format(**EXAMPLES), method=method.upper(), **more)


def undescribed(path: str, method: str, response) -> set[str]:
    return {name.lower() for name, _ in response.headers} - OF_HTTP - described(path, method, response.status_code)


@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_every_header_of_an_answer_is_described(client, path, method):
    response = called(client, path, method, headers={**TRACE, "Accept-Encoding": "gzip", "Origin": PAGE})
    assert undescribed(path, method, response) == set()
    if method == "get" and "ETag" in response.headers:
        again = called(client, path, method, headers={**TRACE, "If-None-Match": response.headers["ETag"]})
        assert undescribed(path, method, again) == set()


@pytest.mark.parametrize("kind", REFUSED)
@pytest.mark.parametrize("path", BODIES)
def test_every_header_of_a_refusal_is_described(client, path, kind):
    refused = {**REFUSED[kind], "headers": {**REFUSED[kind].get("headers", {}), "Origin": PAGE}}
    response = called(client, path, "post", **refused)
    assert response.status_code >= 400 and undescribed(path, "post", response) == set()


@pytest.mark.parametrize("method", ["delete", "put"])
def test_that_a_path_has_another_method_is_described(client, method):
    response = client.open("/v1/rules", method=method)
    assert (response.status_code, response.headers["Allow"]) == (405, "GET, HEAD, OPTIONS")
    assert undescribed("/v1/rules", "get", response) == set()


@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_what_a_caller_sends_to_find_its_request_again_is_described_and_comes_back(client, path, method):
    """W3C Trace Context, Level 1, 3.2 and 3.3: the trace is the caller's, the span is another, the state is passed on."""
    named = [part.get("name") or part["$ref"].rpartition("/")[2] for part in CONTRACT["paths"][path][method]["parameters"]]
    assert {"X-Request-Id", "traceparent", "tracestate"} <= set(named)
    told = called(client, path, method, headers={**TRACE, "X-Request-Id": "mine-1"}).headers
    assert (told["X-Request-Id"], told["tracestate"]) == ("mine-1", TRACE["tracestate"])
    assert told["traceparent"].split("-")[1] == TRACE["traceparent"].split("-")[1]
    assert told["traceparent"].split("-")[2] != TRACE["traceparent"].split("-")[2]
    for name in ("X-Request-Id", "traceparent"):
        assert re.fullmatch(CONTRACT["components"]["headers"][name]["schema"]["pattern"], told[name])
