"""The report by content negotiation."""

import sys

import pytest

from heartlevel.web.application import create_app
from heartlevel.web.written_as_report import HTML, PDF, SVG
from support import rules, week


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def asked(client, accept: str, payload: dict | None = None):
    return client.post("/v1/assessments", json=payload or week(), headers={"Accept": accept})


def test_who_asks_for_a_page_gets_one_with_a_policy_that_lets_nothing_in(client):
    page = asked(client, "text/html,application/xhtml+xml,*/*;q=0.8")
    assert (page.status_code, page.content_type) == (200, "text/html; charset=utf-8")
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert asked(client, "application/json").json["conclusion"]["clinician"][0] in page.text
    assert page.headers["ETag"] == asked(client, "application/json").headers["ETag"]


@pytest.mark.parametrize("accept", ["*/*", "application/json", "application/json, text/html;q=0.9"])
def test_who_asks_for_nothing_of_the_kind_gets_json(client, accept):
    assert asked(client, accept).mimetype == "application/json"


def test_the_plot_alone_is_an_image_in_which_nothing_runs(client):
    plot = asked(client, SVG)
    assert (plot.status_code, plot.mimetype) == (200, SVG)
    assert b"<svg" in plot.data and b"<script" not in plot.data
    assert "default-src 'none'" in plot.headers["Content-Security-Policy"]
    assert asked(client, SVG, {"subject": {"id": "s"}, "readings": []}).status_code == 406


def test_without_the_libraries_it_is_said_what_to_ask_for(client, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    refused = asked(client, PDF)
    assert (refused.status_code, "text/html" in refused.json["detail"]) == (406, True)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    refused = asked(client, HTML)
    assert (refused.status_code, "application/json" in refused.json["detail"]) == (406, True)


def test_a_request_that_cannot_be_assessed_is_refused_as_ever(client):
    refused = asked(client, HTML, {"subject": {}, "readings": []})
    assert (refused.status_code, refused.mimetype) == (422, "application/problem+json")
