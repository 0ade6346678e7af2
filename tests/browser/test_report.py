"""The report in a real browser: it fits its window and two sheets of paper, and everybody can use it."""

import re
from itertools import product

import pytest

from browser.watched import WIDTHS, violations, watched
from filled import languages
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import read
from heartlevel.report.page import report_pages
from support import demo, rules

MOST_SHEETS = 2
# Those with the most to say, something urgent, several devices, little and much known.
IN_EVERY_LANGUAGE, IN_ENGLISH = ("s-11", "s-25", "s-43"), ("s-01", "s-05", "s-20")
SMALLEST = 7  # points
LOOKED_AT = ("s-01", "s-05", "s-11")
# In points, of all that is text; a point of CSS is 4/3 of its pixels.
SMALLEST_SIZE = """Math.min(...[...document.querySelectorAll("main *")].filter(element => element.innerText &&
  [...element.childNodes].some(node => node.nodeType === 3 && node.data.trim())).map(
  element => parseFloat(getComputedStyle(element).fontSize) * 0.75))"""


@pytest.fixture(scope="module")
def report_files(tmp_path_factory):
    """Return reports on the invented practice as addresses, by subject and language."""
    folder = tmp_path_factory.mktemp("reports")
    names = [*product(IN_EVERY_LANGUAGE, languages()), *product(IN_ENGLISH, ["en"])]
    people = {payload["subject"]["id"]: payload for payload in demo()}
    asked = [in_language(people[subject], language) for subject, language in names]
    conclusions = conclude(assess_requests([read(payload, rules().ruleset.choices) for payload in asked], rules()))
    files = {}
    for (subject, language), page in zip(names, report_pages(conclusions, rules()), strict=True):
        path = folder / f"{subject}.{language}.html"
        path.write_bytes(page)
        files[subject, language] = path.as_uri()
    return files


def in_language(payload: dict, language: str) -> dict:
    return {**payload, "options": {**payload.get("options", {}), "language": language}}


def test_each_prints_on_two_sheets_of_a4_at_most_in_every_language_and_can_be_read(chromium, report_files):
    context = chromium.new_context()
    page, sheets, sizes = context.new_page(), {}, {}
    page.emulate_media(media="print")
    for name, address in report_files.items():
        page.goto(address)
        sheets[name] = len(re.findall(rb"/Type /Page\b", page.pdf(format="A4", prefer_css_page_size=True)))
        sizes[name] = page.evaluate(SMALLEST_SIZE)
    context.close()
    assert len(sheets) == len(report_files) and min(sheets.values()) >= 1
    assert {name: number for name, number in sheets.items() if number > MOST_SHEETS} == {}
    assert {name: size for name, size in sizes.items() if size < SMALLEST} == {}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("subject", LOOKED_AT)
def test_it_fits_its_window_logs_no_error_and_asks_nobody(chromium, report_files, subject, width):
    with watched(chromium, report_files[subject, "en"], width) as page:
        assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
        assert (
            page.evaluate("getComputedStyle(document.querySelector('.small h2')).borderBottomStyle") == "solid"
        )  # it is styled


@pytest.mark.parametrize("subject", LOOKED_AT)
def test_axe_finds_nothing(chromium, report_files, subject):
    assert violations(chromium, report_files[subject, "en"], width=360) == []


def test_what_scrolls_is_reached_by_keyboard(chromium, report_files):
    with watched(chromium, report_files["s-05", "en"], 360) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('role')") == "region"
