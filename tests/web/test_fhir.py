"""The routes that speak FHIR."""

import json
import logging

import pytest
from fhir.resources.R4B.bundle import Bundle

from exchange.resources import bundle, parameters, patient, pressure
from heartlevel import answer_to
from heartlevel.web.application import create_app
from support import demo, rules
from web.test_contract import validator

FHIR_JSON = "application/fhir+json"


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def post(client, payload, accept="application/json", kind=FHIR_JSON):
    body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return client.post("/v1/fhir/assessments", data=body, content_type=kind, headers={"Accept": accept})


def test_a_bundle_is_answered_as_the_same_readings_sent_otherwise(client):
    options = {"as_of": ("Date", "2026-03-09"), "guideline": ("Code", "esc-2024")}
    response = post(client, parameters(patient(), *[pressure(f"o-{day}", day=day) for day in range(1, 8)], **options))
    readings = [{"id": f"o-{day}", "taken_at": f"2026-03-{day:02d}T07:10:00+01:00", "systolic": 128, "diastolic": 78,
                 "unit": "mm[Hg]", "setting": "home"} for day in range(1, 8)]  # fmt: skip
    options = {"as_of": "2026-03-09", "guideline": "esc-2024"}
    told = answer_to({"subject": {"id": "p-1"}, "readings": readings, "options": options}, rules())
    assert (response.status_code, response.get_json()["answers"]) == (200, [told])
    validator("FhirAnswers").validate(response.get_json())
    assert response.get_json()["outcome"]["issue"][0]["severity"] == "information"


def test_what_cannot_be_used_is_placed_by_fhirpath(client):
    response = post(client, bundle(patient(), pressure("o-1"), pressure("o-2", 225, 130, day=2, extension=[])))
    (problem,) = response.get_json()["answers"][0]["problems"]
    assert (problem["code"], problem["places"]) == ("missing", ["Bundle.entry[2].resource"])
    assert response.get_json()["answers"][0]["urgent"] is True


def test_nobody_who_can_be_assessed_is_an_operation_outcome_with_what_is_urgent(client):
    nameless = {key: value for key, value in pressure("o-1", 225, 130).items() if key != "subject"}
    response = post(client, bundle(nameless))
    assert (response.status_code, response.content_type) == (422, FHIR_JSON)
    assert any("225/130" in issue["details"]["text"] for issue in response.get_json()["issue"])


@pytest.mark.parametrize(
    ("payload", "kind", "status"),
    [
        (b"{", FHIR_JSON, 400), (b"[]", FHIR_JSON, 422), (b"{}", FHIR_JSON, 422), (b"{}", "text/plain", 415),
        ({"resourceType": "Patient"}, FHIR_JSON, 422), ({"resourceType": "Bundle"}, FHIR_JSON, 422),
        ({"resourceType": "Bundle", "entry": 7}, FHIR_JSON, 422),
        ({"resourceType": "Bundle", "entry": [7]}, FHIR_JSON, 422),
        ({"resourceType": "Parameters", "parameter": [{"name": {}}]}, FHIR_JSON, 422),
        (bundle({"resourceType": "Observation", "code": 7, "component": {}, "subject": []}), FHIR_JSON, 422),
        (bundle(pressure("o-1", component=[None, 1, {"code": {"coding": [{"code": 7}]}}])), FHIR_JSON, 200),
    ],
)  # fmt: skip
def test_whatever_is_sent_is_answered_without_a_defect(client, payload, kind, status):
    assert post(client, payload, kind=kind).status_code == status


def test_nothing_of_what_is_sent_is_logged(client, caplog):
    with caplog.at_level(logging.DEBUG):
        post(client, bundle(patient("very-secret"), pressure("o-secret", 225, 130)))
    assert "secret" not in caplog.text and "225" not in caplog.text


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        (None, FHIR_JSON), ("*/*", FHIR_JSON), (FHIR_JSON, FHIR_JSON), ("application/json", "application/json"),
        ("application/fhir+json;q=0.5, application/json", "application/json"),
    ],
)  # fmt: skip
def test_a_bundle_is_answered_by_one_unless_json_is_wanted(client, accept, kind):
    response = post(client, bundle(patient(), pressure("o-1")), accept)
    assert (response.status_code, response.content_type) == (200, kind)
    assert response.headers["ETag"].strip('"') == rules().ruleset.fingerprint


def test_a_bundle_of_several_people_is_answered_by_one_in_which_each_fault_has_its_place(client):
    sent = bundle(patient("a"), patient("b"), pressure("1", subject={"reference": "Patient/a"}),
                  pressure("2", subject={"reference": "Patient/b"}, effectiveDateTime="soon"))  # fmt: skip
    answered = post(client, sent, FHIR_JSON).get_json()
    Bundle.model_validate(answered)
    resources = [entry["resource"] for entry in answered["entry"]]
    assert [one["identifier"][0]["value"] for one in resources if one["resourceType"] == "Patient"] == ["a", "b"]
    (outcome,) = (one for one in resources if one["resourceType"] == "OperationOutcome")
    assert [issue["expression"] for issue in outcome["issue"] if "expression" in issue] == [
        ["Bundle.entry[3].resource.effective"]
    ]


@pytest.mark.parametrize("accept", [None, "*/*", "application/json", FHIR_JSON])
def test_a_json_request_is_answered_by_a_bundle_only_where_that_is_wanted(client, accept):
    response = client.post("/v1/assessments", json=demo()[0], headers={"Accept": accept} if accept else {})
    assert response.content_type == (FHIR_JSON if accept == FHIR_JSON else "application/json")
    if accept == FHIR_JSON:
        Bundle.model_validate(response.get_json())


def test_a_json_request_that_is_refused_is_refused_whatever_is_wanted(client):
    response = client.post("/v1/assessments", json={"readings": []}, headers={"Accept": FHIR_JSON})
    assert (response.status_code, response.content_type) == (422, "application/problem+json")


def test_the_codes_that_are_understood_are_listed(client):
    codes = client.get("/v1/fhir/codes").get_json()["codes"]
    assert {"setting", "site", "symptom", "on_treatment"} <= {code["field"] for code in codes}


HALF = "\ud800"
EXTENDED = [{"url": "urn:heartlevel:reading", "extension": [{"url": HALF, "valueString": HALF}]}]
HALVES = [
    {"resourceType": "Patient", "id": HALF, HALF: 1},
    {"resourceType": HALF},
    {"resourceType": "Device", "id": HALF},
    pressure("o-1", HALF, 80),
    pressure("o-1", interpretation=[{"coding": [{"code": HALF}]}], device={"reference": HALF, "display": HALF}),
    pressure("o-1", code={"coding": [{"system": HALF, "code": HALF}]}, subject={"reference": HALF}, status=HALF),
    pressure("o-1", modifierExtension=[{"url": HALF}], extension=EXTENDED, effectiveDateTime=HALF),
    {"resourceType": "QuestionnaireResponse", "questionnaire": "urn:heartlevel:questionnaire",
     "item": [{"linkId": HALF, "answer": [{"valueString": HALF}]}]},
    {"resourceType": "Condition", "code": {"coding": [{"system": HALF, "code": HALF}]}},
]  # fmt: skip


@pytest.mark.parametrize("number", range(len(HALVES)))
@pytest.mark.parametrize("accept", [FHIR_JSON, "application/json"])
def test_half_a_character_anywhere_is_no_defect(client, number, accept):
    """What cannot be written back as UTF-8 is told with a sign in its place, in texts and in FHIRPaths."""
    options = {"name": HALF, "valueString": HALF}, {"name": "guideline", "valueCode": HALF}
    for sent in (bundle(patient(), HALVES[number]), {**parameters(HALVES[number]), HALF: HALF}):
        for more in ((), options[:1], options):
            text = json.dumps({**sent, "parameter": [*sent.get("parameter", []), *more]} if more else sent)
            for written in (text, text.replace('"resourceType"', '"\\ud800": 1, "\\ud800": 2, "resourceType"')):
                response = client.post(
                    "/v1/fhir/assessments", data=written, content_type=FHIR_JSON, headers={"Accept": accept}
                )
                assert response.status_code in (200, 422), written
