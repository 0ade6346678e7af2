"""The Questionnaire that is served, and the answers to it that are read."""

import json
import os
import sys
from dataclasses import replace
from subprocess import run

import pytest
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.questionnaire import Questionnaire
from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.resources import at_path, bundle, parameters, patient, pressure
from heartlevel import answer_to
from heartlevel.fhir.call import fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.questionnaire import ADDRESS, questionnaire
from heartlevel.fhir.reading.subjects import decoded_subjects
from heartlevel.intake.own.facts import OwnFact
from heartlevel.intake.own.form import PLAIN_FORM, form_of
from heartlevel.tables.fields import FIELDS
from heartlevel.web.application import create_app
from support import rules


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def questions() -> dict[str, dict]:
    return {item["linkId"]: item for group in questionnaire()["item"] for item in group["item"]}


def response(*items, **more) -> dict:
    return {"resourceType": "QuestionnaireResponse", "id": "q-1", "questionnaire": f"{ADDRESS}|1", "status": "completed",
            "subject": {"reference": "Patient/p-1"}, "authored": "2026-03-08", "item": list(items), **more}  # fmt: skip


def answered(name: str, *values, kind: str = "Boolean") -> dict:
    return {"linkId": name, "answer": [{f"value{kind}": value} for value in values]}


def code(name: str, value: str) -> dict:
    return {"system": f"urn:heartlevel:{name}", "code": value}


def request_of(*resources) -> dict:
    (subject,) = decoded_subjects(bundle(patient(), *resources), codes_of()).subjects
    return subject.request


def test_it_is_served_alone_and_as_a_search_and_a_fhir_library_reads_it(client):
    served = client.get("/v1/fhir/Questionnaire/technique")
    assert (served.status_code, served.content_type) == (200, "application/fhir+json")
    assert Questionnaire.model_validate_json(served.data).url == ADDRESS
    search = client.get("/v1/fhir/Questionnaire").get_json()
    Bundle.model_validate(search)
    assert (search["type"], search["entry"][0]["resource"]) == ("searchset", served.get_json())
    assert client.get("/v1/fhir/Questionnaire/other").status_code == 404


def test_its_version_is_of_what_it_asks_and_of_nothing_else():
    """FHIR R4, Questionnaire.version: what asks the same has the same, in every process; another question is another."""
    asking = "from heartlevel.fhir.questionnaire import questionnaire; print(questionnaire()['version'])"
    by_seed = [{**os.environ, "PYTHONHASHSEED": seed} for seed in "12"]
    told = [run([sys.executable, "-c", asking], env=env, capture_output=True, text=True, check=True) for env in by_seed]
    assert {each.stdout.strip() for each in told} == {questionnaire()["version"]}
    fact = OwnFact("after_hot_bath", "reading", "flag", "taken after a hot bath")
    forms = [PLAIN_FORM, form_of((fact,)), form_of((replace(fact, meaning="taken soon after a hot bath"),))]
    assert len({questionnaire(form)["version"] for form in forms}) == len(forms)


def test_every_detail_that_no_resource_has_an_element_for_is_asked_once():
    technique = {name for name in FIELDS if name.startswith(("technique.", "device_status.", "cuff."))}
    assert technique <= questions().keys() <= FIELDS.keys()
    assert {item["type"] for item in questions().values()} == {"choice", "boolean", "decimal", "date", "time"}


def test_the_answers_hold_for_all_readings_of_the_person_that_do_not_say_otherwise():
    crossed = [{"url": "urn:heartlevel:reading", "extension": [{"url": "technique.legs_crossed", "valueBoolean": True}]}]
    own = pressure("o-2", day=2)
    own["extension"] += crossed
    told = response({"linkId": "reading", "item": [answered("technique.legs_crossed", False),
                                                   answered("technique.rested_minutes", 5.0, kind="Decimal")]})  # fmt: skip
    QuestionnaireResponse.model_validate(told)
    readings = request_of(told, pressure("o-1"), own)["readings"]
    assert [reading["technique"] for reading in readings] == [
        {"legs_crossed": False, "rested_minutes": 5.0}, {"legs_crossed": True, "rested_minutes": 5.0},
    ]  # fmt: skip


@pytest.mark.parametrize("by", ["partOf", "derivedFrom"])
def test_answers_given_with_an_observation_hold_for_it_alone(by):
    reference = {"partOf": [{"reference": "Observation/o-2"}]} if by == "partOf" else {}
    derived = {"derivedFrom": [{"reference": "QuestionnaireResponse/q-1"}]} if by == "derivedFrom" else {}
    told = response(answered("technique.talking", True), **reference)
    readings = request_of(told, pressure("o-1"), pressure("o-2", day=2, **derived))["readings"]
    assert ["technique" in reading for reading in readings] == [False, True]


def test_lists_devices_and_the_person_are_told_too():
    told = response(
        answered("circumstances", code("circumstances", "stress"), code("circumstances", "pain"), kind="Coding"),
        answered("symptoms", code("symptoms", "none"), kind="Coding"),
        answered("cuff.arm_max_cm", {"value": 42, "code": "cm", "system": "http://unitsofmeasure.org"}, kind="Quantity"),
        answered("subject.arm_circumference_cm.left", 37.5, kind="Decimal"),
        answered("subject.usual_waking", "06:30:00", kind="Time"),
        answered("setting", code("setting", "work"), kind="Coding"),
    )
    request = request_of(told, pressure("o-1", extension=[]))
    assert request["subject"] == {"id": "p-1", "arm_circumference_cm": {"left": 37.5}, "usual_waking": "06:30:00"}
    assert request["devices"] == [{"id": "device of q-1", "cuff": {"arm_max_cm": 42}}]
    (reading,) = request["readings"]
    assert (reading["circumstances"], reading["symptoms"], reading["setting"]) == (["stress", "pain"], [], "work")
    assert reading["device"] == "device of q-1"
    assert answer_to(request, rules())["problems"] == []


def test_the_later_of_two_responses_counts_and_one_withdrawn_does_not():
    early = response(answered("technique.talking", True), id="q-0", authored="2026-03-01")
    late = response(answered("technique.talking", False))
    assert request_of(early, late, pressure("o-1"))["readings"][0]["technique"] == {"talking": False}
    void = response(answered("technique.talking", True), status="entered-in-error")
    assert "technique" not in request_of(void, pressure("o-1"))["readings"][0]


def test_what_is_no_answer_is_placed_in_what_was_sent():
    told = response(answered("technique.talkin", True), answered("technique.talking", "loudly", kind="String"),
                    answered("cuff.arm_max_cm", {"value": 420, "code": "mm"}, kind="Quantity"))  # fmt: skip
    payload = parameters(patient(), told, pressure("o-1"))
    issues = fhir_answers(payload, rules(), codes_of()).issues
    assert "did you mean 'technique.talking'?" in issues[0].text
    assert [at_path(payload, issue.expression) for issue in issues] == [
        "technique.talkin", {"value": 420, "code": "mm"}, "loudly",
    ]  # fmt: skip


def test_a_response_to_other_questions_is_not_used_and_that_is_told():
    other = response(answered("technique.talking", True), questionnaire="http://other.example/q")
    content = decoded_subjects(bundle(patient(), other, pressure("o-1")), codes_of())
    assert "technique" not in content.subjects[0].request["readings"][0]
    (issue,) = content.issues
    assert (issue.type, issue.expression) == ("not-supported", "Bundle.entry[1].resource")


def _answers(item: dict) -> st.SearchStrategy:
    """Draw an answer as a client makes it that knows no more than the Questionnaire."""
    match item["type"]:
        case "choice":
            return st.sampled_from(item["answerOption"])
        case "boolean":
            return st.booleans().map(lambda value: {"valueBoolean": value})
        case "decimal":
            low, high = (limit["valueDecimal"] for limit in item["extension"][:2])
            return st.integers(int(low), int(high)).map(lambda value: {"valueDecimal": value})
        case "date":
            return st.dates().map(lambda value: {"valueDate": value.isoformat()})
        case _:
            return st.times().map(lambda value: {"valueTime": value.strftime("%H:%M:%S")})


@settings(max_examples=25)
@given(st.data())
def test_whatever_is_answered_as_asked_is_read_without_a_problem(data):
    asked = data.draw(st.lists(st.sampled_from(sorted(questions())), max_size=8, unique=True))
    items = [{"linkId": name, "answer": [data.draw(_answers(questions()[name]))]} for name in asked]
    payload = json.loads(json.dumps(bundle(patient(), response(*items), pressure("o-1"))))
    (subject,) = decoded_subjects(payload, codes_of()).subjects
    (reading,) = subject.request["readings"]
    told = {"reading": reading, "subject": subject.request["subject"], "device": (subject.request["devices"] or [{}])[0]}
    for name in asked:
        inner = told[FIELDS[name].part]
        for key in FIELDS[name].path:
            inner = inner[key]
    assert [issue.code for issue in fhir_answers(payload, rules(), codes_of()).issues if issue.code] == []
