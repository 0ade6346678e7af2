"""Requests of another shape than the contract's, as a first attempt writes them: refused by name, and nothing is muted."""

import json

import pytest

from exchange.resources import bundle, patient, pressure
from heartlevel.web.application import create_app
from support import reading, rules

AT = "2026-03-02T07:10:00Z"
WHOLE = reading(AT, 240, 130)
BARE = {"taken_at": AT, "setting": "home"}
SUBJECT = {"subject": {"id": "s-1"}}
OTHERWISE = {
    "a list of requests": [{**SUBJECT, "readings": [WHOLE]}],
    "a name of its own": {**SUBJECT, "measurements": [WHOLE]},
    "one reading for the list": {**SUBJECT, "readings": WHOLE},
    "readings by name": {**SUBJECT, "readings": {"r-1": WHOLE}},
    "an envelope around it": {"data": {**SUBJECT, "readings": [WHOLE]}},
    "JSON in a text": json.dumps({**SUBJECT, "readings": [WHOLE]}),
    "readings in a text": {**SUBJECT, "readings": json.dumps([WHOLE])},
    "FHIR": bundle(patient(), pressure("o-1", 240, 130)),
    "FHIR in a text": {**SUBJECT, "readings": json.dumps([pressure("o-1", 240, 130)])},
    "a list too many": {**SUBJECT, "readings": [[WHOLE]]},
    "a text for a reading": {**SUBJECT, "readings": ["240/130"]},
    "a text for both": {**SUBJECT, "readings": [{**BARE, "bp": "240/130 mmHg"}]},
    "values that are objects": {**SUBJECT, "readings": [{**BARE, "systolic": {"value": 240}, "diastolic": {"value": 130}}]},
    "values that are lists": {**SUBJECT, "readings": [{**BARE, "systolic": [240], "diastolic": [130]}]},
    "an object for both": {**SUBJECT, "readings": [{**BARE, "blood_pressure": {"systolic": 240, "diastolic": 130}}]},
    "capitals beside it": {**SUBJECT, "readings": [{**reading(AT, 124, 80), "SYSTOLIC": 240, "DIASTOLIC": 130}]},
    "a second one beside it": {**SUBJECT, "readings": [{**reading(AT, 124, 80), "systolic2": 240, "diastolic2": 130}]},
    "one after another": {
        **SUBJECT,
        "readings": [{**BARE, "systolic1": 124, "diastolic1": 80, "systolic2": 240, "diastolic2": 130}],
    },
    "two numbers": {**SUBJECT, "readings": [[240, 130]]},
    "two numbers by a name": {**SUBJECT, "readings": [{**BARE, "values": [240, 130]}]},
    "short names": {**SUBJECT, "readings": [{**BARE, "SYS": 240, "DIA": 130}]},
}


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "RELOAD_SECONDS": 0}, rules())


def calmed(payload):
    return json.loads(json.dumps(payload).replace("240", "124").replace("130", "80"))


@pytest.mark.parametrize("kind", OTHERWISE)
def test_what_is_severe_is_told_whatever_shape_it_is_sent_in(client, kind):
    told = client.post("/v1/assessments", json=OTHERWISE[kind])
    assert told.json["urgent"] and told.json["problems"] and told.status_code in (200, 422)
    assert "240/" in told.json["urgency"]["text"]
    assert not client.post("/v1/assessments", json=calmed(OTHERWISE[kind])).json["urgent"]
    line = client.post("/v1/assessments", data=json.dumps(OTHERWISE[kind]), content_type="application/x-ndjson")
    assert json.loads(line.text)["urgency"]["level"] == told.json["urgency"]["level"]


def test_each_reading_of_another_shape_is_counted():
    client = create_app({"TESTING": False, "RELOAD_SECONDS": 0}, rules()).test_client()
    told = client.post("/v1/assessments", json={**SUBJECT, "measurements": [WHOLE, WHOLE, reading(AT, 120, 70)]}).json
    assert "(in all: 3)" in told["urgency"]["text"]
    told = client.post(
        "/v1/assessments", json={"resourceType": "Bundle", "entry": [{"resource": pressure("o", 240, 130)}]}
    ).json
    assert "(in all: 1)" in told["urgency"]["text"]


def test_a_note_that_looks_like_a_pressure_is_none(client):
    """A dose such as 160/25 mg is no blood pressure: only where pressures stand is a text of two numbers one."""
    sent = {"note": "200/100 mg", "medicines": ["200/130"], "entry": [{"dosage": {"text": "200/120 mg"}}]}
    assert not client.post("/v1/assessments", json=sent).json["urgent"]


@pytest.mark.parametrize("path", ["/v1/assessments", "/v1/fhir/assessments"])
def test_that_an_answer_depends_on_accept_is_said(client, path):
    """RFC 9110, 12.5.5."""
    for payload in (bundle(patient(), pressure("o-1")), {**SUBJECT, "readings": [WHOLE]}):
        assert "Accept" in client.post(path, json=payload).vary


@pytest.mark.parametrize("pressures", [[pressure("o-1", 225, 130)], "x", 5, {}, {"entry": []}, {"resourceType": 5}])
def test_a_hook_whose_pressures_are_no_resource_lacks_them(client, pressures):
    """CDS Hooks 2.0: null says that there are none to be had; anything else that is no resource says nothing."""
    call = {"hook": "patient-view", "hookInstance": "x", "context": {"patientId": "p-1"}}
    called = client.post(
        "/cds-services/blood-pressure", json={**call, "prefetch": {"patient": patient(), "pressures": pressures}}
    )
    assert called.status_code == 412
    none = client.post("/cds-services/blood-pressure", json={**call, "prefetch": {"patient": patient(), "pressures": None}})
    assert (none.status_code, none.json) == (200, {"cards": []})


TABLES = {
    "columns missing": "systolic,diastolic\n124,80\n240,130\n",
    "one column for both": "BP\n240/130\n",
    "a name twice": f"subject,taken_at,systolic,systolic,diastolic,setting\ns-1,{AT},240,120,130,home\n",
    "units in names": '"SYS (mmHg)";"DIA [mmHg]"\n"240";"130"\n',
    "a low value": "sbp\tdbp\n70\t40\n",
}


@pytest.mark.parametrize("kind", TABLES)
def test_a_table_whose_columns_are_not_understood_tells_what_is_severe_in_it(client, kind):
    refused = client.post("/v1/tables", data=TABLES[kind], content_type="text/csv")
    assert (refused.status_code, refused.json["urgent"]) == (422, True)
    assert "column" in refused.json["detail"]
    calm = TABLES[kind].replace("240", "124").replace("130", "80").replace("70", "120")
    assert not client.post("/v1/tables", data=calm, content_type="text/csv").json["urgent"]


@pytest.mark.parametrize("column", ["symptom", "Symptoms", "subject.symptoms"])
def test_symptoms_count_in_a_table_whose_columns_are_not_understood(client, column):
    table = f"taken_at,systolic,diastolic,setting,{column}\n{AT},192,121,home,chest pain\n"
    assert client.post("/v1/tables", data=table, content_type="text/csv").json["urgency"]["level"] == "now"


@pytest.mark.parametrize("table", [b"", b"\n", b"\xff\xfe", b"x" * 3_000, b"a,b\n" * 50, b'systolic\n\n,,\n"\n'])
def test_a_table_that_is_none_is_refused_without_a_defect(client, table):
    assert client.post("/v1/tables", data=table, content_type="text/csv").status_code == 422
