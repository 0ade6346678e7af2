"""What a caller may say of a table, what is told of what is wrong with it, and words and pages of the result."""

import re
from datetime import date
from html.parser import HTMLParser
from importlib.resources import files
from typing import get_type_hints

import pandas as pd
import pytest

import heartlevel
from heartlevel.frames.asked import OF_REQUESTS_ONLY, ColumnMap, FrameOptions, TargetAsked, UnusableTable
from heartlevel.intake.blocks.targets import TargetAskedBlock
from heartlevel.intake.schema import Options
from heartlevel.tables.mapping import COLUMN_KEYS, KEYS
from support import answer, demo, rules, week

OSLO = {"time_zone": "Europe/Oslo"}


def table(days: int = 7, subject: str = "s-1", **columns) -> pd.DataFrame:
    return pd.DataFrame(week(days)["readings"]).assign(subject=subject, **columns)


def theirs(days: int = 7) -> pd.DataFrame:
    """The same table as a clinic may have it."""
    ours = table(days)
    return pd.DataFrame({
        "Patient": ours["subject"], "Day": pd.to_datetime(ours["taken_at"]).dt.strftime("%d.%m.%Y %H:%M"),
        "SYS": ours["systolic"], "DIA": ours["diastolic"], "Where": "H", "Ward": "secret",
    })  # fmt: skip


MAP = {"Patient": "subject", "Day": "taken_at", "SYS": "systolic", "DIA": "diastolic",
       "Where": {"to": "setting", "values": {"H": "home"}}}  # fmt: skip


def test_columns_of_other_names_are_mapped_as_in_a_file_of_columns():
    mapped = heartlevel.assess(theirs(), rules(), columns=MAP, time_format="%d.%m.%Y %H:%M", ignore=["Ward"], **OSLO)
    ours = heartlevel.assess(table()[["subject", "taken_at", "systolic", "diastolic", "setting"]], rules(), **OSLO)
    pd.testing.assert_frame_equal(mapped.subjects, ours.subjects)
    pd.testing.assert_frame_equal(mapped.averages, ours.averages)
    assert mapped.problems.empty


def test_units_decimals_and_what_all_rows_say_are_mapped_too():
    frame = pd.DataFrame({"who": ["s"], "at": ["2026-03-01T07:10:00Z"], "s": ["18,9"], "d": ["10,9"]})
    columns = {
        "who": "subject",
        "at": "taken_at",
        "s": {"to": "systolic", "unit": "kPa"},
        "d": {"to": "diastolic", "unit": "kPa"},
    }
    result = heartlevel.assess(frame, rules(), columns=columns, fixed={"setting": "home"}, decimal=",")
    assert result.readings["systolic"].round(1).tolist() == [141.8]  # 18.9 kPa × 1000 / 133.322


def refused(frame, **more) -> str:
    with pytest.raises(UnusableTable) as wrong:
        heartlevel.assess(frame, rules(), **more)
    assert isinstance(wrong.value, heartlevel.RefusedRequest)
    return str(wrong.value)


def test_an_exception_says_all_that_is_missing_and_what_may_be_meant():
    text = refused(theirs())
    assert "secret" not in text and len(text.splitlines()) == 5
    for column, field in {
        "Patient": "subject",
        "Day": "taken_at",
        "SYS": "systolic",
        "DIA": "diastolic",
        "Where": "setting",
    }.items():
        (line,) = (line for line in text.splitlines() if line.startswith(f"/{field}:"))
        assert f"perhaps columns={{{column!r}: {field!r}}}" in line


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"columns": {"SYS": "sistolic"}}, "columns: SYS: sistolic: no such name (did you mean 'systolic'?)"),
        ({"columns": MAP | {"SIS": "pulse"}}, "/SIS: the table has no such column (did you mean 'SYS'?)"),
        ({"columns": MAP, "fixed": {"setting": "hom"}}, "fixed: setting: found 'hom'"),
        ({"columns": MAP, "time_format": "%d"}, "time_format: "),
        (
            {"columns": MAP, "time_format": "%Y.%m.%d %H:%M"},
            "of the first 28 times 28 are written otherwise, such as on row 0",
        ),
        ({"columns": MAP, "guideline": "acc-aha-2052"}, "did you mean 'acc-aha-2025'?"),
        ({"columns": MAP, "time_zone": "Europe/Olso"}, "did you mean 'Europe/Oslo'?"),
        ({"columns": MAP, "zone": "x"}, "/zone: no field of that name"),
        ({"columns": MAP, "language": "xx"}, "/language: found 'xx'; expected one of de, en"),
    ],
)
def test_what_is_wrong_with_a_map_or_an_option_is_said(more, words):
    assert words in refused(theirs(), **more)


def test_a_target_and_dates_are_taken_as_python_has_them():
    frame = table(**{"subject.on_treatment": True})
    target = {"home": {"systolic": 130, "diastolic": 80}, "comparator": "at-most"}
    result = heartlevel.assess(frame, rules(), target=target, as_of=date(2026, 3, 9), **OSLO)
    assert len(result.subjects) == 1 and result.problems.empty


def test_typed_options_are_those_that_a_table_takes():
    assert FrameOptions.__annotations__.keys() == Options().fields.keys() - set(OF_REQUESTS_ONLY)
    assert TargetAsked.__annotations__.keys() == TargetAskedBlock().fields.keys()
    assert get_type_hints(ColumnMap).keys() == set(KEYS) - {"time_zone", "delimiter"}
    assert get_type_hints(heartlevel.frames.asked.ColumnMeaning).keys() == set(COLUMN_KEYS)


def test_the_package_says_that_it_is_typed():
    assert files("heartlevel").joinpath("py.typed").is_file()


@pytest.mark.parametrize("language", sorted(rules().ruleset.wording))
def test_words_are_there_where_a_language_is_asked_for_and_are_those_of_an_answer(language):
    payload = demo()[14]
    readings = pd.json_normalize(payload["readings"]).drop(columns=["circumstances", "symptoms"], errors="ignore")
    readings = readings.drop(columns=[name for name in readings if name in ("device", "id")])
    options = {name: payload["options"][name] for name in ("guideline", "time_zone", "as_of") if name in payload["options"]}
    frame = readings.assign(subject="s-1")
    plain = heartlevel.assess(frame, rules(), **options)
    worded = heartlevel.assess(frame, rules(), language=language, **options)
    assert "title" not in plain.findings and "conclusion" not in plain.subjects
    pd.testing.assert_frame_equal(worded.findings[plain.findings.columns], plain.findings)
    kept = {*readings, "technique", "device_status"}
    sent = [{name: value for name, value in reading.items() if name in kept} for reading in payload["readings"]]
    told = answer({"subject": {"id": "s-1"}, "readings": sent, "options": {**options, "language": language}})
    assert worded.subjects["conclusion"].tolist() == [" ".join(told["conclusion"]["clinician"])]
    assert worded.subjects["for_patient"].tolist() == [" ".join(told["conclusion"]["patient"])]
    titles = dict(zip(worded.findings["rule"], worded.findings["title"], strict=True))
    for finding in told["findings"]:
        assert titles[finding["rule"]] == finding["title"]


def test_a_table_of_nobody_has_the_columns_of_words_too():
    result = heartlevel.assess(table().head(0), rules(), language="en")
    assert {"title", "explanation", "advice"} <= set(result.findings) and "conclusion" in result.subjects


class Page(HTMLParser):
    """Tags and texts of a page."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.texts = [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.texts.append(data)


def test_a_notebook_shows_a_small_page_in_which_names_are_escaped():
    name = "<script>alert('x')</script>&"
    frames = [table(subject=f"s-{number:02d}") for number in range(12)] + [table(subject=name, systolic=225, diastolic=130)]
    result = heartlevel.assess(pd.concat(frames, ignore_index=True), rules(), language="en", as_of="2026-03-09", **OSLO)
    html = result._repr_html_()
    page = Page(html)
    assert set(page.tags) == {"div", "p", "table", "thead", "tbody", "tr", "th", "td", "code"}
    assert page.tags.count("tr") == 11 and len(html) < 10_000
    assert name in page.texts and "13 subjects" in page.texts[0] and "urgent: 1" in page.texts[0]
    assert re.search(r"<tbody><tr><td>&lt;script&gt;", html)  # what is urgent first
    assert "and 3 more in " in page.texts and any("Not a diagnosis" in text for text in page.texts)


def test_a_result_of_nobody_has_a_page_too():
    assert "0 subjects" in heartlevel.assess(table().head(0), rules())._repr_html_()
