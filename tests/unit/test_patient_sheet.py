"""The sheet for the person measured: all of it from the answer, in plain words, and nothing that leads astray."""

import re
import shutil
from functools import cache
from html.parser import HTMLParser
from statistics import fmean

import pytest
import textstat

from filled import languages
from heartlevel.handouts.asked_logs import blank_log
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.patient_page import patient_page
from heartlevel.handouts.patient_sheet import CHANGES, MEASURE, PatientSheet, patient_sheet
from heartlevel.handouts.rendering import rendered
from heartlevel.one_call import whole_answer_to
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.language.page_words import PAGE_WORDS
from rules.worded import MEDICINE
from support import demo, rules, week

# From which figure on a text is plain in each language, and the measure: see tests/rules/test_plain_words.py.
PLAIN = {
    "en": (lambda text: 12 - textstat.flesch_kincaid_grade(text), 6), "es": (textstat.fernandez_huerta, 80),
    "de": (textstat.flesch_reading_ease, 70),
}  # fmt: skip


def sheet_of(payload: dict, **options) -> tuple[PatientSheet, dict]:
    request, answer = whole_answer_to({**payload, "options": {**payload.get("options", {}), **options}}, rules())
    return patient_sheet(request, answer, rules()), answer


@cache
def sheets(language: str) -> list[tuple[PatientSheet, dict]]:
    return [sheet_of(payload, language=language) for payload in demo()]


class Page(HTMLParser):
    """The visible texts of a page, and its elements with their attributes."""

    def __init__(self, content: bytes) -> None:
        super().__init__()
        self.texts, self.elements, self._hidden = [], [], False
        self.feed(content.decode())

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self._hidden = tag in ("style", "title")

    def handle_endtag(self, tag):
        self._hidden = False

    def handle_data(self, data):
        if data.strip() and not self._hidden:
            self.texts.append(" ".join(data.split()))


def page_of(sheet: PatientSheet) -> Page:
    return Page(patient_page(sheet))


@pytest.mark.parametrize("language", languages())
def test_what_is_concluded_for_the_person_stands_on_the_page_in_its_language(language):
    for sheet, answer in sheets(language):
        page = page_of(sheet)
        steps = {step["patient"] for step in answer["next_steps"] if step["code"] in CHANGES}
        for sentence in answer["conclusion"]["patient"]:
            assert (
                any(text.endswith(" ".join(sentence.split())) for text in page.texts)
                or any(step in sentence for step in steps if step)
                or any(step["patient"] and step["patient"] in sentence for step in answer["next_steps"])
            )
        assert ("html", {"lang": language}) in page.elements
        assert str(answer["counts"]["received"]) in sheet.went[-1]


@pytest.mark.parametrize("language", languages())
def test_the_three_first_things_to_change_have_a_drawing_each_that_is_told_in_words(language):
    told = 0
    for sheet, answer in sheets(language):
        page = page_of(sheet)
        wanted = [step["patient"] for step in answer["next_steps"] if step["code"] in CHANGES and step["patient"]][:3]
        assert [change.text for change in sheet.changes] == wanted
        drawings = [attributes["aria-label"] for tag, attributes in page.elements if tag == "svg"]
        assert drawings == [sheet.words[f"drawing-{change.drawing}"] for change in sheet.changes]
        assert (sheet.words["patient-keep"] in page.texts) == (not wanted)
        told += len(wanted)
    assert told > 40


def test_every_drawing_has_words_and_none_has_the_shape_of_another():
    shapes = {}
    for name in sorted(set(CHANGES.values())):
        change = [type("Change", (), {"text": "x", "drawing": name})]
        sheet = sheets("en")[0][0]
        content = rendered("patient.html.j2", "en", sheet=_with(sheet, change), words=sheet.words).decode()
        shapes[name] = re.sub(r'aria-label="[^"]*"', "", re.search(r"<svg.*?</svg>", content, re.DOTALL)[0])
        assert f"drawing-{name}" in PAGE_WORDS
    assert len(set(shapes.values())) == len(shapes)


def _with(sheet: PatientSheet, changes: list) -> object:
    return type("Sheet", (), {**{name: getattr(sheet, name) for name in sheet.__slots__}, "changes": changes})


def test_an_arm_to_be_spared_is_not_drawn_with_a_cuff():
    assert CHANGES["use-other-arm"] == "other-arm" != CHANGES["measure-both-arms"]


@pytest.mark.parametrize("language", languages())
def test_what_is_pressing_stands_first_and_once(language):
    pressing = 0
    for sheet, answer in sheets(language):
        page = page_of(sheet)
        now = answer["urgency"]["level"] not in ("none", "history")
        pressing += now
        if now:
            assert sheet.urgent[0].endswith(answer["conclusion"]["patient"][0])
            assert page.texts.index(sheet.urgent[0]) == 2  # after the title and of whom it is
            assert page.texts.count(sheet.urgent[0]) == 1
        assert not set(sheet.urgent) & {*sheet.others, *sheet.went}
    assert pressing > 8


@pytest.mark.parametrize(
    ("person", "begin"),
    [
        ("s-05", "188/112 mmHg (March 21, 2026): "),
        ("s-30", "86/54 mmHg (March 10, 2026): "),
        ("s-11", ""),
        ("s-31", ""),
    ],
)
def test_what_is_pressing_names_the_reading_that_makes_it_so_where_it_is_one(person, begin):
    sheet, answer = next(pair for pair in sheets("en") if pair[1]["subject"]["id"] == person)
    assert sheet.urgent[0] == begin + answer["conclusion"]["patient"][0]


@pytest.mark.parametrize("language", languages())
def test_who_has_a_low_average_is_told_so_once(language):
    told = 0
    for sheet, answer in sheets(language):
        low = [finding["patient"] for finding in answer["findings"] if finding["rule"] in ("low", "low-in-office")]
        assert [text for text in sheet.went if text in low] == low[:1]
        step = [step["patient"] for step in answer["next_steps"] if step["code"] == "ask-about-symptoms"]
        assert not (low and set(step) & set(sheet.others))
        told += bool(low)
    assert told == 2


@pytest.mark.parametrize("language", languages())
def test_the_page_reads_easily(language):
    """Of all pages of the demo together, and of each of their words that are sentences by itself, half as strictly."""
    textstat.set_lang({"en": "en_US"}.get(language, language))
    ease, floor = PLAIN[language]
    log = blank_log({"language": language}, rules())
    texts = {*log.instructions, *log.seek_help, log.words["patient-caution"], log.words["patient-keep"]}
    texts |= {text for sheet, _ in sheets(language) for text in (*sheet.when, *sheet.seek_help)}
    assert fmean(map(ease, texts)) >= floor, {text: ease(text) for text in texts}
    assert {text: ease(text) for text in texts if ease(text) < floor - (6 if language == "en" else 25)} == {}


@pytest.mark.parametrize("language", MEDICINE)
def test_only_the_caution_speaks_of_medicine_and_every_page_has_it(language):
    words = rules().ruleset.wording[language].pages
    assert [key for key, text in words.items() if MEDICINE[language].search(text)] == ["patient-caution"]
    assert all(words["patient-caution"] in page_of(sheet).texts for sheet, _ in sheets(language)[:3])


@pytest.mark.parametrize(("payload", "said"), [
    (week(2), "patient-plan"),  # the protocol asks for more days
    (week(7), "patient-not-told"),  # nothing more is asked, and how sure it is is not known
])  # fmt: skip
def test_when_to_measure_follows_what_is_asked(payload, said):
    sheet, answer = sheet_of(payload)
    words = sheet.words[said].format(days=7, readings=2, spacing=1, sittings=2)
    assert sheet.when[0] == words
    asked = any(step["code"] in MEASURE for step in answer["next_steps"])
    assert asked == (said == "patient-plan")


def test_fewer_days_are_asked_where_they_are_expected_to_do():
    by_days = {answer["what_next"]["more_days"]: sheet for sheet, answer in sheets("en")}
    assert by_days[0].when == [by_days[0].words["patient-enough"]]


def test_hostile_names_are_texts_on_the_page():
    payload = {**week(), "subject": {"id": "<script>alert(1)</script>\"'&"}}
    sheet, _ = sheet_of(payload)
    for content in (patient_page(sheet), log_page(blank_log({}, rules()))):
        page = Page(content)
        assert not [tag for tag, _ in page.elements if tag in ("script", "img", "link", "iframe", "a", "form")]
        assert not [
            name for _, attributes in page.elements for name in attributes if name.startswith("on") or name == "style"
        ]
    assert b"&lt;script&gt;" in patient_page(sheet)


def test_pages_ask_nothing_of_anybody():
    for content in (patient_page(sheets("en")[0][0]), log_page(blank_log({}, rules()))):
        assert not re.search(rb"https?:|url\(|@import|src=|href=", content)
        assert b"default-src &#39;none&#39;" in content


def test_the_same_answer_gives_the_same_page():
    assert patient_page(sheet_of(demo()[7])[0]) == patient_page(sheet_of(demo()[7])[0])


def test_a_rule_set_without_the_words_of_pages_is_told_which(tmp_path):
    folder = shutil.copytree(shipped("rules"), tmp_path / "rules")
    path = folder / "wording" / "en.yaml"
    path.write_text(path.read_text().replace("\n  patient-title: Your blood pressure\n", "\n"))
    with pytest.raises(RuleFaults) as caught:
        load(folder)
    assert ("missing-text", "the pages' 'patient-title' is not there") in {
        (fault.code, fault.detail) for fault in caught.value.faults
    }
