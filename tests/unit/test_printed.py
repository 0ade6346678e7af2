"""The report as PDF: two sides of A4 at most, the numbers of the page, and nothing fetched. Needs the library Pango."""

import re
from io import BytesIO
from math import sqrt

import pytest
from lxml import html
from pypdf import PdfReader

from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.request import read
from heartlevel.report.page import printed, report_pages
from support import demo, rules

A4 = (210, 297)  # mm, ISO 216
MM = 72 / 25.4  # points
MOST_SIDES, SMALLEST = 2, 7  # sides, points
pytestmark = pytest.mark.usefixtures("pango")
LONGEST = {"s-11": "de", "s-25": "es", "s-43": "de", "s-05": "en"}  # those with the most to say, and one in English


@pytest.fixture(scope="module")
def reports():
    payloads = [{**payload, "options": {**payload.get("options", {}), "language": LONGEST[payload["subject"]["id"]]}}
                for payload in demo() if payload["subject"]["id"] in LONGEST]  # fmt: skip
    requests = [read(payload, rules().ruleset.choices) for payload in payloads]
    pages = report_pages(conclude(assess_requests(requests, rules())), rules())
    return {payload["subject"]["id"]: (page, printed(page)) for payload, page in zip(payloads, pages, strict=True)}


def closed_up(text: str) -> str:
    return re.sub(r"\s", "", text)


def test_it_has_two_sides_of_a4_at_most(reports):
    sides = {subject: PdfReader(BytesIO(pdf)).pages for subject, (_, pdf) in reports.items()}
    assert {subject: len(own) for subject, own in sides.items() if len(own) > MOST_SIDES} == {}
    sizes = {(round(float(side.mediabox.width / MM)), round(float(side.mediabox.height / MM)))
             for own in sides.values() for side in own}  # fmt: skip
    assert sizes == {A4}


def test_it_says_the_conclusion_and_every_number_of_the_page(reports):
    for page, pdf in reports.values():
        text = closed_up("".join(side.extract_text() for side in PdfReader(BytesIO(pdf)).pages))
        root = html.fromstring(page.decode())
        told = [element.text_content() for element in root.iter("data")]
        assert [number for number in told if closed_up(number) not in text] == []
        assert len(told) > 10
        for sentence in (root.find_class("lead")[0], *root.find_class("alarm")[:1]):
            assert closed_up(sentence.text_content().replace("\n", "")).split("•")[0][:200] in text


def test_no_sign_on_it_is_smaller_than_seven_points(reports):
    for _, pdf in reports.values():
        sizes = set[float]()

        def note(text, page, matrix, font, size, sizes=sizes):
            if text.strip() and font:
                sizes.add(round(size * sqrt(abs(_area(page) * _area(matrix))), 1))

        for side in PdfReader(BytesIO(pdf)).pages:
            side.extract_text(visitor_text=note)
        assert min(sizes) >= SMALLEST and len(sizes) > 3


def _area(matrix: list[float]) -> float:
    """Return what a square of one unit becomes, turned or not."""
    return matrix[0] * matrix[3] - matrix[1] * matrix[2]


def test_nothing_is_fetched_for_it(tmp_path):
    outside = tmp_path / "outside.svg"
    outside.write_text('<svg xmlns="http://www.w3.org/2000/svg"><text>fetched</text></svg>')
    pdf = printed(f'<p>here<img src="{outside.as_uri()}">'.encode())
    assert "fetched" not in PdfReader(BytesIO(pdf)).pages[0].extract_text()
