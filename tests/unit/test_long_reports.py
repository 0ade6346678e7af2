"""Reports on as much as one request may hold stay short: what is listed is bounded, and marks without end are one image."""

import re
from base64 import b64decode
from datetime import date, timedelta
from functools import cache
from io import BytesIO

import pytest
from lxml import etree, html
from pypdf import PdfReader

from heartlevel.report.call import report_for
from heartlevel.report.page import printed, report_page
from heartlevel.report.readings_plot import MOST_DRAWN
from heartlevel.report.report import MOST_LISTED, MOST_PLOTTED
from support import rules, week

READINGS, CHECKS = 1_200, 40
BIDI = "\u202e\u2066\u200f]]><b>$\\frac{1}{0}$\x00\x1b\ufffe\U0001f468\u200d\U0001f469"  # turned round, no XML, no number


@cache
def long_request(readings: int = READINGS) -> dict:
    """A severe reading every third day, each with a name that is none of the contract's, and many device checks."""
    taken = (date(1990, 1, 1) + timedelta(days=3 * number) for number in range(readings))
    listed = [{"setting": "home", "systolic": 190 + day.day, "diastolic": 100, "taken_at": f"{day}T07:00:00+01:00",
               "id": f"{number}{BIDI}", f"n{number}": 1} for number, day in enumerate(taken)]  # fmt: skip
    pair = {"device": {"systolic": 122, "diastolic": 81}, "reference": {"systolic": 120, "diastolic": 80}}
    checks = [{"device": f"d{number}{BIDI}", "pairs": [pair, pair, pair]} for number in range(CHECKS)]
    devices = [{"id": check["device"]} for check in checks]
    return {"subject": {"id": f"s{BIDI}"}, "readings": listed, "devices": devices, "device_checks": checks}


@cache
def long_page() -> tuple[bytes, dict]:
    report, answer = report_for(long_request(), rules(), READINGS)
    return report_page(report), answer


def test_what_is_listed_is_bounded_and_how_many_more_there_are_is_told():
    page, answer = long_page()
    root = html.fromstring(page.decode())
    more = {int(told) for told in re.findall(r"… \(\+(\d+)\)", root.text_content())}
    lengths = {len(answer["urgency"]["episodes"]), len(answer["problems"]), CHECKS}
    assert min(lengths) > MOST_LISTED
    assert more == {length - MOST_LISTED for length in lengths}
    assert len(root.findall(".//img")) == 1 + MOST_PLOTTED
    assert len(page) < 1_000_000


def test_what_is_listed_is_the_most_urgent():
    _, answer = long_page()
    episodes = answer["urgency"]["episodes"]
    days = [episode["day"] for episode in episodes]
    assert days == sorted(days, reverse=True)  # of those of one kind the latest is first


def test_many_marks_are_one_image_and_few_are_drawn_each_by_itself():
    """SVG 1.1, 5.7: an `image` element refers to an image."""
    for readings, images in ((MOST_DRAWN, 0), (READINGS, 1)):
        report, _ = report_for(long_request(readings), rules(), READINGS)
        plot = etree.fromstring(report.readings)
        drawn = plot.findall(".//{http://www.w3.org/2000/svg}image")
        assert bool(len(drawn)) == bool(images)
        for image in drawn:
            kind, _, data = image.get("{http://www.w3.org/1999/xlink}href").partition(",")
            assert kind == "data:image/png;base64" and b64decode(data).startswith(b"\x89PNG")
        assert len(report.readings) < 400_000


@pytest.mark.usefixtures("pango")
def test_it_is_printed_on_few_sides_whatever_stands_in_its_names():
    assert len(PdfReader(BytesIO(printed(long_page()[0]))).pages) <= 8


def test_a_short_report_leaves_nothing_out():
    assert "… (+" not in report_page(report_for(week(), rules())[0]).decode()
