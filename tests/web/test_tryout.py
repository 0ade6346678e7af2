"""Tables sent by hand, the page to try the service out, and the reference made of the contract."""

import json
import subprocess
import sys

import pytest
from lxml import html

from exchange.resources import parameters, patient, pressure
from heartlevel.handouts.rendering import page_policy
from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from heartlevel.web.tryout.site import FILES, POLICY
from support import answer, as_csv, as_rows, assess_in_process, demo, requests, rules

HEAD = "subject,taken_at,systolic,diastolic,setting\n"
ROWS = (
    f"{HEAD}s-1,2026-03-02T07:10:00,142,88,home\ns-1,2026-03-02T07:12:00,1x2,88,home\n,2026-03-02T07:14:00,231,140,home\n"
)


@pytest.fixture(scope="module")
def app():
    return create_app({}, rules())


def sent(client, text: str, zone: str | None = "Europe/Oslo", media: str = "text/csv"):
    return client.post(
        "/v1/tables", data=text.encode(), content_type=media, query_string={"time_zone": zone} if zone else {}
    )


def test_a_table_that_is_sent_is_answered_as_the_same_file(client, tmp_path):
    text = as_csv(as_rows(requests(4)))
    (tmp_path / "t.csv").write_text(text)
    result = assess_in_process(tmp_path / "t.csv", "--json")
    assert sent(client, text, None).get_json()["answers"] == [json.loads(line) for line in result.stdout.splitlines()]


def test_what_cannot_be_read_is_named_by_line_and_column_and_what_is_urgent_in_it_too(client):
    response = sent(client, ROWS)
    assert response.headers["ETag"] == f'"{rules().ruleset.fingerprint}"'
    told = response.get_json()
    (only,) = told["answers"]
    assert (only["counts"]["received"], only["counts"]["lost"]) == (2, 1)
    assert [(one["line"], one["column"], one["code"]) for one in told["problems"]] == [
        (3, "systolic", "not-a-number"), (4, None, "no-subject"),
    ]  # fmt: skip
    assert told["problems"][0]["detail"] == "found '1x2'; expected a number from 1 to 400 mm[Hg]"
    assert told["problems"][1]["urgency"] in ("now", "same-day", "cannot-be-told")


def reported(client, path: str, body: str, media: str):
    query = {"time_zone": "Europe/Oslo"} if media == "text/csv" else {}
    return client.post(path, data=body.encode(), content_type=media, query_string=query, headers={"Accept": "text/html"})


def test_a_table_is_answered_with_a_report_on_each_of_its_people_in_one_page(client):
    page = reported(client, "/v1/tables", as_csv(as_rows(requests(3))), "text/csv")
    assert (page.status_code, page.content_type) == (200, "text/html; charset=utf-8")
    assert page.headers["Content-Security-Policy"] == page_policy() and page.headers["ETag"]
    reports = html.fromstring(page.text).find_class("report")
    assert [report.get("lang") for report in reports] == ["en"] * 3
    for report, told in zip(reports, sent(client, as_csv(as_rows(requests(3)))).get_json()["answers"], strict=True):
        assert (
            told["subject"]["id"] in report.text_content() and told["conclusion"]["clinician"][0] in report.text_content()
        )


def test_a_bundle_is_answered_with_reports_too(client):
    bundle = json.dumps(parameters(patient(), *(pressure(f"o-{day}", day=day) for day in range(1, 8))))
    page = reported(client, "/v1/fhir/assessments", bundle, "application/fhir+json")
    assert (page.status_code, len(html.fromstring(page.text).find_class("report"))) == (200, 1)


def test_reports_are_made_on_few_people_and_on_somebody(client):
    many = reported(client, "/v1/tables", as_csv(as_rows(requests(11))), "text/csv")
    assert (many.status_code, many.get_json()["detail"]) == (
        406, "11 people; reports are made on 10 at most, ask for application/json")  # fmt: skip
    nobody = reported(client, "/v1/tables", f"{HEAD},2026-03-02T07:14:00,131,80,home\n", "text/csv")
    assert (nobody.status_code, "nobody in it could be assessed" in nobody.get_json()["detail"]) == (422, True)


def test_a_table_has_the_limit_of_a_request(client):
    rows = [f"s-{number % 7},2026-03-02T07:10:00,142,88,home\n" for number in range(5001)]
    response = sent(client, HEAD + "".join(rows))
    assert (response.status_code, response.get_json()["detail"]) == (413, "5001 readings; one request may hold 5000")
    people = [f"s-{number},2026-03-02T07:10:00,142,88,home\n" for number in range(201)]
    assert sent(client, HEAD + "".join(people)).get_json()["detail"] == "201 people; one request may hold 200"
    for parting in ",;\t":
        wide = sent(client, HEAD.strip() + parting * 1000 + "\n")
        assert wide.status_code == 413 and wide.get_json()["detail"].endswith("columns; a table may have 1000")


@pytest.mark.parametrize(
    ("text", "media", "status", "words"),
    [("a,b\n1,2\n", "text/csv", 422, "no column for taken_at"), (ROWS, "application/json", 415, "send text/csv"),
     ("", "text/csv", 422, ""), ("a\rb," + "x" * 200_000, "text/csv", 422, "its first line names no columns")],
)  # fmt: skip
def test_what_is_no_table_is_a_problem(client, text, media, status, words):
    response = sent(client, text, media=media)
    assert (response.status_code, response.content_type) == (status, "application/problem+json")
    assert words in response.get_json()["detail"]


def test_a_zone_that_is_none_is_a_problem(client):
    told = sent(client, ROWS, "No/Where").get_json()
    assert told["answers"] == []
    assert told["problems"][0]["pointer"] == "/options/time_zone"


def test_where_tables_cannot_be_read_the_caller_is_told():
    code = """
import sys
for library in ("pandas", "pyarrow"):
    sys.modules[library] = None
from heartlevel.web.application import create_app
reply = create_app().test_client().post("/v1/tables", data=b"subject", content_type="text/csv")
print(reply.status_code, reply.get_json()["detail"])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.startswith("501 tables need pyarrow"), done.stderr


@pytest.mark.parametrize("path", ["/", "/try/reference", *(f"/try/{name}" for name in FILES)])
def test_the_page_and_its_parts_come_from_here_alone(client, path):
    response = client.get(path)
    assert response.status_code == 200
    assert response.headers["Content-Security-Policy"] == POLICY
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert client.get(path, headers={"If-None-Match": response.headers["ETag"]}).status_code == 304
    for written in ("innerHTML", "insertAdjacentHTML", "document.write", " style=", " onclick=", "<script>"):
        assert written not in response.text


def test_the_invented_people_are_those_of_the_demo(client):
    lines = client.get("/try/demo.ndjson").text.splitlines()
    assert [json.loads(line) for line in lines] == demo()
    assert client.post("/v1/assessments", json=json.loads(lines[3])).get_json() == answer(demo()[3])


def test_the_reference_names_every_operation_and_schema_of_the_contract(client):
    document = json.loads((shipped("openapi") / "openapi.json").read_text("utf-8"))
    text = client.get("/try/reference").text
    for methods in document["paths"].values():
        for operation in methods.values():
            assert f'id="{operation["operationId"]}"' in text
    assert all(f'id="schema-{name}"' in text for name in document["components"]["schemas"])


def test_the_page_can_be_switched_off():
    client = create_app({"TRYOUT": False}, rules()).test_client()
    for path in ("/", "/try/tryout.js", "/try/reference"):
        response = client.get(path)
        assert (response.status_code, response.content_type) == (404, "application/problem+json")
    assert client.get("/health").status_code == 200


def test_there_is_nothing_beside_the_parts(client):
    for name in ("../settings.py", "site.py", "x"):
        assert client.get(f"/try/{name}").status_code == 404
