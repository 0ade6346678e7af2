"""The report in a real browser: it fits its window and two sheets of paper, and everybody can use it."""

import re

import pytest

from browser.watched import WIDTHS, violations, watched
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import read
from heartlevel.report.page import report_pages
from support import demo, rules

MOST_SHEETS = 2
# Those with the most to say, something urgent, several devices, little and much known.
PRINTED = ("s-01", "s-04", "s-05", "s-11", "s-25", "s-28", "s-43")
LOOKED_AT = ("s-01", "s-05", "s-11")


@pytest.fixture(scope="module")
def report_files(tmp_path_factory):
    """Return reports on the invented practice by subject, as addresses, in English."""
    folder = tmp_path_factory.mktemp("reports")
    payloads = [{**payload, "options": {**payload.get("options", {}), "language": "en"}} for payload in demo()
                if payload["subject"]["id"] in PRINTED]  # fmt: skip
    requests = [read(payload, rules().ruleset.choices) for payload in payloads]
    files = {}
    pages = report_pages(conclude(assess_requests(requests, rules())), rules())
    for payload, page in zip(payloads, pages, strict=True):
        subject = payload["subject"]["id"]
        path = folder / f"{subject}.html"
        path.write_bytes(page)
        files[subject] = path.as_uri()
    return files


def test_each_prints_on_two_sheets_of_a4_at_most(chromium, report_files):
    context = chromium.new_context()
    page, sheets = context.new_page(), {}
    for subject, address in report_files.items():
        page.goto(address)
        sheets[subject] = len(re.findall(rb"/Type /Page\b", page.pdf(format="A4", prefer_css_page_size=True)))
    context.close()
    assert len(sheets) == len(PRINTED) and min(sheets.values()) >= 1
    assert {subject: number for subject, number in sheets.items() if number > MOST_SHEETS} == {}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("subject", LOOKED_AT)
def test_it_fits_its_window_logs_no_error_and_asks_nobody(chromium, report_files, subject, width):
    with watched(chromium, report_files[subject], width) as page:
        assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
        assert page.evaluate("getComputedStyle(document.querySelector('h2')).borderBottomStyle") == "solid"  # it is styled


@pytest.mark.parametrize("subject", LOOKED_AT)
def test_axe_finds_nothing(chromium, report_files, subject):
    assert violations(chromium, report_files[subject], width=360) == []


def test_what_scrolls_is_reached_by_keyboard(chromium, report_files):
    with watched(chromium, report_files["s-05"], 360) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('role')") == "region"
