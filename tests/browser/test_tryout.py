"""The page to try the service out, in a real browser: keyboard alone, hostile strings, faults beside their lines, keys."""

import json

import pytest
from click.testing import CliRunner
from lxml import html

from browser.conftest import served
from browser.watched import WIDTHS, violations, watched
from heartlevel.assessment import assess_requests
from heartlevel.command.main import main
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import read
from heartlevel.report.page import report_pages
from support import answer, demo, rules

HOSTILE = "<img src=//outside.example/x onerror=alert(1)>"
CSV = f"""subject,taken_at,systolic,diastolic,setting
{HOSTILE},2026-03-02T07:10:00,142,88,home
{HOSTILE},2026-03-02T07:12:00,1x2,88,home
"""


def report_in(page):
    """Return the report in the page's frame, once it is there."""
    frame = page.wait_for_selector("iframe.frame").content_frame()
    frame.wait_for_selector(".report")
    return frame


def report_on(payload: dict) -> bytes:
    (page,) = report_pages(conclude(assess_requests([read(payload, rules().ruleset.choices)], rules())), rules())
    return page


def text_of(page: bytes) -> list[str]:
    return html.fromstring(page.decode()).find(".//main").text_content().split()


def ready(page) -> None:
    """Wait for the page's scripts: they list the invented people."""
    page.wait_for_selector("#person option:nth-child(9)", state="attached")


def choose(page, person: str) -> None:
    ready(page)
    page.select_option("#person", label=person)


@pytest.mark.parametrize("width", WIDTHS)
def test_somebody_invented_is_assessed_by_keyboard_alone(chromium, address, width):
    with watched(chromium, address, width) as page:
        ready(page)
        for _ in range(4):  # three links, and the list of people
            page.keyboard.press("Tab")
        page.keyboard.type("s-05")
        for _ in range(4):  # text, zone, key, button
            page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        (payload,) = [one for one in demo() if one["subject"]["id"] == "s-05"]
        wanted, shown = answer(payload), report_in(page)
        assert wanted["conclusion"]["clinician"][0] in shown.inner_text(".alarm")
        assert shown.inner_text(".lead") == wanted["conclusion"]["clinician"][1]
        assert shown.text_content("main").split() == text_of(report_on(payload))
        assert json.loads(page.text_content("#outcome pre")) == wanted
        height = page.evaluate("document.querySelector('iframe').offsetHeight")
        assert 0 <= height - shown.evaluate("document.body.offsetHeight") < 10  # it is shown whole, and nothing below it
        assert page.text_content("#curl").startswith(
            f"curl -s '{address}v1/assessments' -H 'content-type: application/json'"
        )


def test_what_a_table_cannot_be_read_for_stands_beside_its_line_and_what_is_hostile_is_text(chromium, address):
    with watched(chromium, address, 360) as page:
        ready(page)
        page.fill("#text", CSV)
        page.fill("#zone", "Europe/Oslo")
        page.click("#readings button")
        shown = report_in(page)
        cells = [cell.inner_text() for cell in page.query_selector_all("#outcome td")]
        assert cells == ["line 3, systolic", CSV.splitlines()[2], "found '1x2'; expected a number from 1 to 400 mm[Hg]"]
        assert HOSTILE in shown.inner_text("h1 + p")
        assert page.query_selector("img") is None
        assert {image.get_attribute("src")[:5] for image in shown.query_selector_all("img")} == {"data:"}


def test_a_file_that_is_dropped_stands_in_the_field(chromium, address):
    drop = """text => {
      const carried = new DataTransfer();
      carried.items.add(new File([text], "readings.csv", { type: "text/csv" }));
      document.getElementById("text").dispatchEvent(new DragEvent("drop", { dataTransfer: carried, cancelable: true }));
    }"""
    with watched(chromium, address, 1440) as page:
        ready(page)
        page.evaluate(drop, CSV)
        page.wait_for_function("text => document.getElementById('text').value === text", arg=CSV)


def test_a_rule_is_tried_on_the_invented_people_and_a_mistake_is_shown_at_its_line(chromium, address):
    with watched(chromium, address, 1440) as page:
        ready(page)
        layer = page.input_value("#layer")
        page.fill("#layer", layer.replace("set: {severity: high}", "off: true"))
        page.click("#candidate button")
        page.wait_for_selector("#trial table", timeout=60_000)
        lost = [row.inner_text() for row in page.query_selector_all("#trial tbody tr")]
        assert lost and all("legs-crossed" in row for row in lost)
        page.fill("#layer", layer.replace("severity: high", "severty: high"))
        page.click("#candidate button")
        page.wait_for_selector("#trial td:has-text('severty: high')", timeout=60_000)
        assert page.inner_text("#trial td:first-child") == "layer.yaml:7"


def test_where_callers_need_a_key_the_page_is_open_and_asks_for_it(chromium, tmp_path):
    keys = tmp_path / "keys.json"
    key = CliRunner().invoke(main, ["keys", "new", "--file", str(keys), "--scope", "assess"]).output.split()[-1]
    with served(KEYS=str(keys)) as address, watched(chromium, address, 1440) as page:
        choose(page, "s-01")
        page.click("#readings button")
        page.wait_for_selector(".refused")
        assert "401" in page.inner_text("#state")
        page.fill("#key", key)
        page.click("#readings button")
        report_in(page)
        assert key not in page.content() and key not in page.text_content("#curl")
        assert page.evaluate("[localStorage.length, sessionStorage.length, document.cookie]") == [0, 0, ""]


def assessed(page) -> None:
    choose(page, "s-05")
    page.click("#readings button")
    report_in(page)


@pytest.mark.parametrize(("path", "before"), [("", assessed), ("try/reference", lambda page: None)])
def test_axe_finds_nothing(chromium, address, path, before):
    assert violations(chromium, address + path, before=before) == []


def test_what_is_urgent_in_what_is_refused_is_told_in_words(chromium, address):
    with watched(chromium, address, 1440) as page:
        ready(page)
        page.fill("#text", '{"subject": {}, "readings": [{"systolic": 231, "diastolic": 140}]}')
        page.click("#readings button")
        told = page.wait_for_selector(".refused .alarm").inner_text()
        assert told.startswith("Urgent by what is legible: ") and "-" not in told


@pytest.mark.parametrize("width", WIDTHS)
def test_the_reference_fits_its_window(chromium, address, width):
    with watched(chromium, f"{address}try/reference", width) as page:
        assert page.inner_text("h1").endswith("API reference")
