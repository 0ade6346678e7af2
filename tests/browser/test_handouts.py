"""What is handed to the person measured, in a real browser: it fits its window and one side of A4, and all can use it."""

import re

import pytest

from browser.watched import WIDTHS, violations, watched
from filled import languages
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.handouts.asked_logs import blank_log
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.sheets_for import patient_pages
from heartlevel.intake.request import read
from support import demo, rules

PRINTED = ("s-07", "s-08", "s-25")  # those with the most to change, and with something urgent
LOOKED_AT = (("s-08", "de"), ("log", "en"))


@pytest.fixture(scope="module")
def handouts(tmp_path_factory):
    """Return sheets for people of the demo, and empty logs, as addresses, by name and language."""
    folder, files = tmp_path_factory.mktemp("handouts"), {}
    for language in languages():
        payloads = [{**payload, "options": {**payload.get("options", {}), "language": language}} for payload in demo()
                    if payload["subject"]["id"] in PRINTED]  # fmt: skip
        requests = [read(payload, rules().ruleset.choices) for payload in payloads]
        pages = patient_pages(conclude(assess_requests(requests, rules())), rules())
        log = log_page(blank_log({"language": language}, rules()))
        for name, page in {**dict(zip(PRINTED, pages, strict=True)), "log": log}.items():
            path = folder / f"{name}.{language}.html"
            path.write_bytes(page)
            files[name, language] = path.as_uri()
    return files


def test_each_prints_on_one_side_in_every_language(chromium, handouts):
    context = chromium.new_context()
    page, sides = context.new_page(), {}
    for name, address in handouts.items():
        page.goto(address)
        sides[name] = len(re.findall(rb"/Type /Page\b", page.pdf(format="A4", prefer_css_page_size=True)))
    context.close()
    assert set(sides.values()) == {1}, sides


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", LOOKED_AT)
def test_it_fits_its_window_logs_no_error_and_asks_nobody(chromium, handouts, name, width):
    with watched(chromium, handouts[name], width) as page:
        assert page.evaluate("getComputedStyle(document.querySelector('th')).fontWeight") == "600"  # it is styled


@pytest.mark.parametrize("name", LOOKED_AT)
def test_axe_finds_nothing(chromium, handouts, name):
    assert violations(chromium, handouts[name], width=360) == []
