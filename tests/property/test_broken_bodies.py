"""Damaged requests over HTTP: answered as by the function, never a failure, never quoted in a log."""

import json
from collections.abc import Callable

import orjson
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heartlevel import RefusedRequest
from heartlevel.answer.whole import as_json
from heartlevel.intake.faults import problems_written
from heartlevel.intake.texts.json_text import NotJson, parsed_json
from heartlevel.web.application import create_app
from property.damage import damaged, good, lies_at, with_damage
from support import answer, examples, rules, week

SOME = settings(max_examples=examples(100), deadline=None,
                suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])  # fmt: skip
SUBJECT_MARK = "mark-of-the-subject-0c1d"


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def post(client, body: bytes, kind: str = "application/json"):
    response = client.post("/v1/assessments", data=body, content_type=kind)
    assert response.status_code in (200, 400, 422)
    assert response.content_type == (kind if response.status_code == 200 else "application/problem+json")
    return response


def is_json(body: bytes) -> bool:
    try:
        parsed_json(body)
    except NotJson:
        return False
    return True


@SOME
@given(damaged())
def test_over_http_damage_is_answered_as_by_the_function_and_never_with_a_500(client, case):
    broken = with_damage(*case)
    body = json.dumps(broken).encode()
    response = post(client, body)
    assert (response.status_code == 400) == (not is_json(body))
    if response.status_code == 200:
        assert response.data == as_json(answer(parsed_json(body)))
    elif response.status_code == 422:
        with pytest.raises(RefusedRequest) as refusal:
            answer(parsed_json(body))
        assert response.json["problems"] == problems_written(refusal.value.problems)


@st.composite
def damaged_bytes(draw: Callable) -> bytes:
    payload = draw(st.integers(0, len(good()) - 1).map(good().__getitem__))
    body = bytearray(orjson.dumps({**payload, "subject": {**payload["subject"], "id": SUBJECT_MARK}}))
    for place in draw(st.lists(st.integers(0, len(body) - 1), max_size=4)):
        body[place] = draw(st.integers(0, 255))
    return bytes(body[: draw(st.integers(0, len(body)) | st.just(len(body)))])


@SOME
@given(damaged_bytes())
def test_damaged_bytes_are_answered_and_never_quoted_in_a_log(client, caplog, body):
    caplog.clear()
    with caplog.at_level("DEBUG"):
        response = post(client, body)
    assert (response.status_code == 400) == (not is_json(body))
    assert "/v1/assessments" in caplog.text  # the log is on
    assert not any(quoted in caplog.text for quoted in (SUBJECT_MARK, "systolic", "2026-0"))


DEEP = b"[" * 1000 + b"]" * 1000


@pytest.mark.parametrize("key", ["setting", "systolic", "id", "circumstances", "technique", "pulse", "surplus"])
@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson"])
def test_the_deepest_json_that_can_be_parsed_is_a_problem_at_its_place(client, key, kind):
    payload = week(1)
    payload["readings"][1][key] = "deep"
    body = json.dumps(payload).encode().replace(b'"deep"', DEEP)
    whole = orjson.loads(post(client, body, kind).data)
    assert any(lies_at(one["pointer"], ("readings", 1, key)) for one in whole["problems"])
    assert {"r-0-7-0", "r-0-20-0", "r-0-20-1"} <= {one["id"] for one in whole["readings"]}
