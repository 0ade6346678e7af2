"""How much one request may hold."""

import pytest

from heartlevel import TooManyReadings, answer_to
from heartlevel.answer.whole import as_json
from heartlevel.web.application import create_app
from support import rules
from unit.sent import good


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": 20_000}, rules())


@pytest.mark.parametrize("most", [0, 3])
def test_more_readings_than_allowed_are_too_many(most):
    with pytest.raises(TooManyReadings):
        answer_to(good(), rules(), most)


def test_as_many_readings_as_allowed_are_assessed():
    assert len(answer_to(good(), rules(), 4)["readings"]) == 4


def test_too_many_readings_over_http_are_a_413(client):
    client.application.config["MAX_CONTENT_LENGTH"], before = 2**20, client.application.config["MAX_CONTENT_LENGTH"]
    response = client.post("/v1/assessments", json={"subject": {"id": "s"}, "readings": [0] * 5001})
    client.application.config["MAX_CONTENT_LENGTH"] = before
    assert (response.status_code, response.content_type) == (413, "application/problem+json")
    assert response.json["detail"] == "5001 readings; one request may hold 5000"


@pytest.mark.parametrize(("longer", "status"), [(0, 200), (1, 413)])
def test_a_body_over_the_limit_is_a_413(client, longer, status):
    body = as_json(good())
    body += b" " * (20_000 - len(body) + longer)
    response = client.post("/v1/assessments", data=body, content_type="application/json")
    assert response.status_code == status
    if status == 413:
        assert (response.content_type, response.json["status"]) == ("application/problem+json", 413)
