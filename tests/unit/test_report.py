"""The report: every number on it is the one of the answer, and it is whole in itself."""

import re
from functools import cache

import pytest
from lxml import html

from heartlevel.answer.conclusion import without_first_step
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.handouts.asked_logs import log_for
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.patient_page import patient_page
from heartlevel.handouts.patient_sheet import patient_sheet
from heartlevel.intake.request import read
from heartlevel.one_call import answers_with_others, whole_answer_to
from heartlevel.report.drawing import svg_of
from heartlevel.report.figures import ToldNumbers
from heartlevel.report.page import report_page, report_pages
from heartlevel.report.report import report_of
from support import demo, rules, week

HOSTILE = "<script>alert(1)</script>\"'&{{7*7}}"


@cache
def reports():
    requests = [read(payload, rules().ruleset.choices) for payload in demo()]
    conclusions = conclude(assess_requests(requests, rules()))
    answers = list(answers_with_others(conclusions, rules()))
    return [report_of(conclusions, number, answer, rules()) for number, answer in enumerate(answers)]


def pages_of(*payloads: dict) -> list[bytes]:
    requests = [read(payload, rules().ruleset.choices) for payload in payloads]
    return list(report_pages(conclude(assess_requests(requests, rules())), rules()))


def at(answer: dict, pointer: str):
    value = answer
    for part in pointer.split("/")[1:]:
        value = value[int(part)] if isinstance(value, list) else value[part.replace("~1", "/").replace("~0", "~")]
    return value


def test_each_number_is_the_one_that_the_answer_has_at_its_place():
    seen = 0
    for report in reports():
        for element in html.fromstring(report_page(report).decode()).iter("data"):
            value = at(report.answer, element.get("data-at"))
            assert float(element.get("value")) == value
            text = element.text_content()
            if "%" in text:
                assert abs(float(re.sub(r"[^\d.]", "", text)) / 100 - value) <= (0.01 if text[0] in "<>" else 0.005 + 1e-9)
            else:
                assert float(text) == pytest.approx(value, abs=0.05)
            seen += 1
    assert seen > 10 * len(reports())


def test_a_page_needs_nothing_from_elsewhere_and_has_no_script():
    for report in reports():
        page = html.fromstring(report_page(report).decode())
        assert not list(page.iter("script"))
        sources = [element.get(name) for element in page.iter() for name in ("src", "href") if element.get(name)]
        assert all(source.startswith("data:image/svg+xml;base64,") for source in sources)
        assert all(image.get("alt") for image in page.iter("img"))


def test_what_is_urgent_stands_before_all_else_and_the_conclusion_is_told_whole():
    for report in reports():
        text = html.fromstring(report_page(report).decode()).text_content()
        for sentence in without_first_step(report.answer):
            assert text.count(sentence) >= 1
        if report.answer["urgent"]:
            first = report.answer["conclusion"]["clinician"][0]
            assert text.index(first) < text.index(report.words["report-conclusion"])
        assert all(caution in text for caution in report.answer["cautions"])
        assert all(finding["title"] in text for finding in report.answer["findings"])


def test_the_same_request_gives_the_same_bytes_alone_or_among_others():
    one, other = week(), week(pressures=((165, 102), (163, 101)))
    assert pages_of(one, other)[0] == pages_of(other, one)[1] == pages_of(one)[0]


def test_what_is_sent_is_text_and_nothing_else():
    payload = week()
    payload["subject"]["id"] = HOSTILE
    (page,) = pages_of(payload)
    assert (
        b"<script" not in page and "&lt;script&gt;" in page.decode() and "49" not in page.decode().split("</h1>")[1][:300]
    )


def hostile_everywhere() -> dict:
    """Return a week in which every text that a request can hold is hostile, some of it where it cannot be read."""
    payload = {
        **week(device=HOSTILE, notes=HOSTILE),
        "devices": [{"id": HOSTILE, "model": HOSTILE, "manufacturer": HOSTILE}],
    }
    pair = {"device": {"systolic": 142, "diastolic": 88}, "reference": {"systolic": 131, "diastolic": 82}}
    payload["device_checks"] = [
        {"device": HOSTILE, "reference_device": HOSTILE, "pairs": [{**pair, "occasion": f"{HOSTILE}{number}"}]}
        for number in range(2)
    ]
    payload["subject"]["id"] = HOSTILE
    for number, reading in enumerate(payload["readings"]):
        reading["id"] = f"{HOSTILE}{number}"
    payload["readings"][0] |= {"systolic": HOSTILE, "site": HOSTILE, "circumstances": [HOSTILE]}
    return payload


def test_every_text_that_is_sent_is_text_on_every_page():
    request, answer = whole_answer_to(hostile_everywhere(), rules())
    assert len(answer["device_checks"]) == 2 and answer["problems"]
    (report,) = pages_of(hostile_everywhere())
    sheet, log = patient_page(patient_sheet(request, answer, rules())), log_page(log_for(hostile_everywhere(), rules()))
    for page in (report, sheet, log):
        root = html.fromstring(page.decode())
        assert HOSTILE in root.text_content()
        assert not [element for element in root.iter() if element.tag in ("script", "iframe", "object", "form", "link")]
        assert not [name for element in root.iter() for name in element.attrib if name.startswith("on") or name == "style"]
        assert {image.get("src")[:5] for image in root.iter("img")} <= {"data:"}


def test_several_checks_of_a_device_have_a_heading_each():
    (page,) = pages_of(hostile_everywhere())
    headings = [
        heading.text_content() for heading in html.fromstring(page.decode()).iter("h2") if HOSTILE in heading.text_content()
    ]
    assert [heading.rpartition("(")[2] for heading in headings] == ["check 1 of 2)", "check 2 of 2)"]


def test_findings_alike_are_told_once_with_how_many_they_are():
    (report,) = [report for report in reports() if report.answer["subject"]["id"] == "s-07"]
    rules_of = [finding["rule"] for finding in report.answer["findings"]]
    (alike,) = [
        alike for step in report.steps for alike in step.findings if alike.finding["rule"] == "raised-at-home-in-pregnancy"
    ]
    assert alike.number == rules_of.count("raised-at-home-in-pregnancy") > 4
    text = html.fromstring(report_page(report).decode()).text_content()
    assert text.count(alike.finding["title"]) == 1 and f"({alike.number} ×; readings: {alike.readings})" in text
    told = sum(alike.number for step in report.steps for alike in step.findings) + sum(
        alike.number for alike in report.others
    )
    assert told == len(rules_of)


def test_what_is_not_compared_has_no_chances_of_patterns():
    (report,) = [report for report in reports() if report.answer["subject"]["id"] == "s-09"]
    assert (
        report.answer["pattern"]["label"] == "undetermined" and report.answer["pattern"]["chances"] and not report.patterns
    )
    assert any(report.patterns for report in reports())


@pytest.mark.parametrize("language", ["en", "es", "de"])
def test_a_page_is_in_the_language_of_the_request(language):
    (page,) = pages_of(week(options={"language": language}))
    assert f'lang="{language}"' in page.decode()
    assert rules().ruleset.wording[language].pages["report-next"] in html.fromstring(page.decode()).text_content()


def test_a_share_that_is_neither_none_nor_all_is_not_told_as_such():
    figures = ToldNumbers({"made_with": {"language": "en"}, "a": 0.001, "b": 0.999, "c": 0.0, "d": 1.0, "e": None})
    told = [html.fromstring(f"<p>{figures.share(f'/{name}')}</p>").text_content() for name in "abcde"]
    assert told == ["<1 %", ">99 %", "0 %", "100 %", "–"]


def test_a_plot_has_no_date_and_the_same_names_each_time():
    first, second = (svg_of("a", 2, 1, lambda axes: axes.plot([0, 1], [1, 2])) for _ in range(2))
    assert first == second and b"<dc:date>" not in first
