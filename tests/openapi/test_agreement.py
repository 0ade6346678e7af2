"""Contract and service agree on what is taken: requests made up from the contract, those it takes and those it does not.

What the schema takes is answered; what neither it nor `x-also-read` takes is refused, or named in `problems`. By default a
few requests of each operation are tried; `CONTRACT_TEST_CASES=1800 pytest -n 0 -s` tries more than 20,000 in all.
"""

import json
import os
import re
from copy import deepcopy
from functools import cache
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
    use_after_free,
)

from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from support import rules

CONTRACT = json.loads((shipped("openapi") / "openapi.json").read_text(encoding="utf-8"))
CASES = int(os.environ.get("CONTRACT_TEST_CASES", "10"))
# Of operations whose requests take long to make up, or to answer, fewer; a trial starts a process that compiles rules.
FEWER = {"/v1/assessments": 4, "/v1/log-sheets": 8, "/v1/patient-sheets": 8, "/v1/device-checks": 4, "/v1/rules/trial": 40}
CHECKS = [not_a_server_error, content_type_conformance, response_headers_conformance, response_schema_conformance,
          status_code_conformance, unsupported_method, use_after_free]  # fmt: skip
POSTS = [path for path, methods in CONTRACT["paths"].items() if "post" in methods]
GETS = [path for path, methods in CONTRACT["paths"].items() if "get" in methods]
# Names that only the rules in force, or the zone database, know.
BY_NAME = re.compile(r"/options/(guideline|protocol|language|time_zone|also_under/[0-9]+)$")
SAID_BY_SCHEMA = {"unknown-key", "not-an-object", "not-a-list", "not-a-number", "not-true-or-false", "not-a-text",
                  "text-length", "not-one-of", "out-of-range", "too-many", "not-a-date", "not-a-time-of-day"}  # fmt: skip
# What a schema cannot say of a request that it takes: FHIR is described by its own specification, a table by its header,
# and data may be missing.
MAY_REFUSE = {"/v1/fhir/assessments": 422, "/cds-services/blood-pressure": 412, "/v1/tables": 422}


# Pages and sheets, of which a fault that is named cannot be read back.
NO_JSON = ("text/html", "application/vnd.openxmlformats-officedocument", "application/pdf", "image/svg+xml")


def tolerant(part: Any) -> Any:
    """Return a schema that takes whatever the service reads without a problem."""
    if isinstance(part, list):
        return [tolerant(item) for item in part]
    if not isinstance(part, dict):
        return part
    inner = {name: tolerant(value) for name, value in part.items() if name != "x-also-read"}
    return {"anyOf": [inner, part["x-also-read"]]} if "x-also-read" in part else inner


@cache
def application():
    return create_app({"TESTING": False, "RELOAD_SECONDS": 0}, rules())


@cache
def described():
    contract = deepcopy(CONTRACT)
    for methods in contract["paths"].values():
        for operation in methods.values():  # headers have tests of their own; here they would decide in place of the body
            operation["parameters"] = [one for one in operation["parameters"] if one.get("in") == "path"]
    schema = schemathesis.openapi.from_dict(contract)
    schema.app = application()
    return schema


@cache
def read_without_a_problem(path: str) -> Draft202012Validator:
    """A validator of bodies that takes what is in `x-also-read`, too."""
    registry = Registry().with_resource("urn:contract", Resource.from_contents(tolerant(CONTRACT), DRAFT202012))
    place = path.replace("~", "~0").replace("/", "~1")
    within = f"urn:contract#/paths/{place}/post/requestBody/content/application~1json/schema"
    return Draft202012Validator({"$ref": within}, registry=registry)


def tried(path: str, method: str, mode: GenerationMode, check) -> int:
    """Try an operation with requests that the contract takes, or that it does not; return how many there were."""
    operation = described()[path][method]
    tries = []

    @settings(max_examples=max(2, CASES // FEWER.get(path, 1)), deadline=None, database=None, derandomize=True,
              phases=[Phase.generate], suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode))
    def once(case):
        tries.append(case)
        response = case.call(headers={"Accept-Encoding": "identity"})
        case.validate_response(response, checks=CHECKS)
        check(path, case, response)

    once()
    print(f"{len(tries)} requests to {method} {path}, {mode.value}")
    return len(tries)


def is_answered(path: str, case, response) -> None:
    """Hold what the contract takes: nothing is wrong that a schema can say.

    It is refused only for what none can say, such as a guideline that there is not, or a null pressure without bytes.
    """
    if response.status_code == 200 and response.headers["content-type"][0].startswith(NO_JSON):
        return
    told = response.json()
    problems = told.get("problems", []) if isinstance(told, dict) else []
    told_of = [fault for fault in problems if not fault["pointer"].endswith("/payload")]  # no schema reads bytes
    wrong = [fault for fault in told_of if fault["code"] in SAID_BY_SCHEMA and not BY_NAME.search(fault["pointer"])]
    assert wrong == []
    if response.status_code not in (200, 503, MAY_REFUSE.get(path)):
        assert problems or "faults" in told, response.text


def is_refused_or_named(path: str, case, response) -> None:
    """Hold what the contract does not take: it is refused, or named in what is answered, or is in `x-also-read`."""
    if response.status_code == 503 or 400 <= response.status_code < 500:
        return
    if response.headers["content-type"][0].startswith(NO_JSON):  # a page or a sheet tells of faults in its own words
        return
    if response.json().get("problems"):
        return
    assert read_without_a_problem(path).is_valid(case.body), case.body


@pytest.mark.parametrize("path", POSTS)
def test_what_the_contract_takes_is_answered(path):
    assert tried(path, "POST", GenerationMode.POSITIVE, is_answered)


@pytest.mark.parametrize("path", POSTS)
def test_what_it_does_not_take_is_refused_or_named(path):
    assert tried(path, "POST", GenerationMode.NEGATIVE, is_refused_or_named)


@pytest.mark.parametrize("path", GETS)
def test_what_is_asked_for_is_as_described(path):
    assert tried(path, "GET", GenerationMode.POSITIVE, lambda *_: None)
