"""What is handed to the person measured, over HTTP: in the kind asked for, with a policy that lets nothing in."""

import re
import sys
from base64 import b64encode
from hashlib import sha256

import pytest

from filled import FilledLog
from heartlevel.web.application import create_app
from heartlevel.web.pages.handouts import HTML, XLSX
from support import rules, week

ZONE = "time_zone=Europe/Oslo"


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def test_a_blank_log_is_a_page_or_a_spreadsheet(client):
    page = client.get("/v1/log-sheets?language=de&protocol=aha-2008&days=2&first_day=2026-03-02")
    assert (page.status_code, page.content_type) == (200, "text/html; charset=utf-8")
    assert page.text.count("Morgens") == 2 and "Mo., 2. März" in page.text
    sheet = client.get(f"/v1/log-sheets?{ZONE}&days=2", headers={"Accept": XLSX})
    assert (sheet.status_code, sheet.content_type) == (200, XLSX)
    assert len(list(FilledLog(sheet.data).sheet.iter_rows(min_row=FilledLog(sheet.data).head + 1))) == 2 * 2 * 2
    assert "Accept" in page.vary and "Accept" in sheet.vary


@pytest.mark.parametrize(("query", "accept", "detail"), [
    ("days=0", HTML, "days: a number from 1 to 31 is expected"),
    ("days=two", HTML, "days: a number from 1 to 31 is expected"),
    ("first_day=9999-12-31", HTML, "first_day: 9999-11-30 at the latest"),
    ("first_day=2026-02-30", HTML, "first_day: a date is expected, YYYY-MM-DD"),
    ("subject=s-1", HTML, "subject: not among protocol, guideline, language, time_zone, days, first_day"),
    ("", XLSX, "time_zone: a spreadsheet needs a time zone, such as Europe/Oslo: the times in it have none"),
])  # fmt: skip
def test_what_is_wrong_with_a_query_is_said(client, query, accept, detail):
    response = client.get(f"/v1/log-sheets?{query}", headers={"Accept": accept})
    assert (response.status_code, response.json["detail"]) == (400, detail)


def test_options_that_cannot_be_are_refused_with_their_place(client):
    response = client.get("/v1/log-sheets?protocol=aha-2009")
    assert response.status_code == 422
    assert [problem["pointer"] for problem in response.json["problems"]] == ["/options/protocol"]


def test_the_log_of_a_person_asks_what_was_done_wrong(client):
    crossed = week(technique={"legs_crossed": True})
    asked = client.post("/v1/log-sheets?days=2", json=crossed, headers={"Accept": XLSX})
    names = FilledLog(asked.data).names
    assert "technique.legs_crossed" in names
    empty = {"subject": {"id": "s-1"}, "readings": [], "options": {"language": "es"}}
    assert "Registro" in client.post("/v1/log-sheets", json=empty).text


@pytest.mark.parametrize("path", ["/v1/log-sheets", "/v1/patient-sheets"])
def test_bodies_are_refused_as_everywhere(client, path):
    assert client.post(path, data="{", content_type="application/json").status_code == 400
    assert client.post(path, data="{}", content_type="text/csv").status_code == 415
    assert client.post(path, json={"readings": []}).status_code == 422
    assert client.post(path, json=week(), headers={"If-Match": '"other"'}).status_code == 412


def test_the_page_for_a_person_is_that_of_the_answer_and_is_counted_as_one(client):
    def counted() -> float:
        return float(
            re.search(r"^heartlevel_readings_total(?:\{[^}]*\})? ([\d.]+)$", client.get("/metrics").text, re.MULTILINE)[1]
        )

    before = counted()
    page = client.post("/v1/patient-sheets", json=week())
    assert counted() - before == len(week()["readings"])
    answer = client.post("/v1/assessments", json=week()).json
    assert page.content_type == "text/html; charset=utf-8" and page.headers["ETag"]
    assert all(sentence in page.text for sentence in answer["conclusion"]["patient"][:1])


def test_the_policy_lets_in_the_pages_own_style_alone(client):
    page = client.post("/v1/patient-sheets", json=week())
    (style,) = re.findall(r"<style>(.*?)</style>", page.text, re.DOTALL)
    digest = b64encode(sha256(style.encode()).digest()).decode()
    assert page.headers["Content-Security-Policy"] == (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )


def test_without_the_library_for_spreadsheets_pages_are_made_all_the_same(client, monkeypatch):
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    response = client.get(f"/v1/log-sheets?{ZONE}", headers={"Accept": XLSX})
    assert (response.status_code, response.content_type) == (406, "application/problem+json")
    assert client.get(f"/v1/log-sheets?{ZONE}").status_code == 200
