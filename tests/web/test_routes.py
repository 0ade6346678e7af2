import pytest

from heartlevel import answer_to
from heartlevel.answer.whole import as_json
from heartlevel.web.application import create_app
from support import demo, rules


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def test_the_route_answers_as_the_function_does(client):
    response = client.post("/v1/assessments", json=demo()[0])
    assert (response.status_code, response.data) == (200, as_json(answer_to(demo()[0], rules())))


@pytest.mark.parametrize(("language", "said"), [("en", "First: "), ("es", "Primero: "), ("de", "Zuerst: ")])
def test_an_answer_is_in_the_language_asked_for(client, language, said):
    answer = client.post("/v1/assessments", json={**demo()[0], "options": {"language": language}}).get_json()
    assert answer["made_with"]["language"] == language
    assert any(sentence.startswith(said) for sentence in answer["conclusion"]["clinician"])


@pytest.mark.parametrize("body", [b"{", b"[]", b"{}", b"\xff", b'{"subject":{"id":"s"},"readings":5}', b"NaN"])
def test_a_broken_request_is_a_problem_and_never_a_500(client, body):
    response = client.post("/v1/assessments", data=body, content_type="application/json")
    assert response.status_code in (400, 422)
    assert response.content_type == "application/problem+json"


@pytest.mark.parametrize("path", ["rules", "rules/legs-crossed", "guidelines", "protocols", "facts"])
def test_what_the_service_knows_can_be_read(client, path):
    assert client.get(f"/v1/{path}").status_code == 200


@pytest.mark.parametrize("path", ["/health", "/ready", "/metrics"])
def test_the_service_says_how_it_is(client, path):
    assert client.get(path).status_code == 200
