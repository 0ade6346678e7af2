"""The page of a practice: its numbers are those of the JSON, it asks nobody for anything, what is hostile is text."""

import re
from base64 import b64decode, b64encode
from copy import deepcopy
from hashlib import sha256
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner
from lxml import etree, html

from filled import languages
from heartlevel.command.main import main
from heartlevel.conclusions.category import NO_CATEGORY_REASONS
from heartlevel.handouts.rendering import page_policy
from heartlevel.practice import page as practice_page_module
from heartlevel.practice.figures import practice_figures
from heartlevel.practice.folder import Folder
from heartlevel.practice.page import practice_page
from heartlevel.practice.people import SHARES
from heartlevel.practice.plots import MOST_BARS, DifferenceRow, differences_plot, faults_plot
from heartlevel.statistics.agreement import VERDICTS
from practice.clinic import tables
from support import rules
from unit.test_report_words import CODED, codes, standing

HOSTILE = "<script>alert(1)</script><img src=//evil.example/x onerror=alert(1)>"
__all__ = ["tables"]


class Page(HTMLParser):
    """Elements with their attributes, the text under each id, and the cells of each row."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements, self.text_of, self.rows, self.inside = [], {}, [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.inside.append(dict(attrs).get("id"))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        if tag == "meta":
            self.inside.pop()

    def handle_endtag(self, tag):
        self.inside.pop()

    def handle_data(self, data):
        if self.inside and self.inside[-1]:
            self.text_of[self.inside[-1]] = self.text_of.get(self.inside[-1], "") + data
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


@pytest.fixture(scope="module")
def figures(tables):
    return practice_figures(Folder(tables), rules().ruleset)


@pytest.fixture(scope="module")
def text(figures):
    return practice_page(figures, rules().ruleset).decode()


def test_numbers_on_the_page_are_those_of_the_json(text, figures):
    page = Page(text)
    wanted = {
        "people-assessed": figures["people"]["assessed"], "readings-received": figures["readings"]["received"],
        "readings-lost": figures["readings"]["lost"], "people-urgent": figures["urgent"]["people"],
        "with-category": figures["categories"]["with"], "without-category": figures["categories"]["without"],
    }  # fmt: skip
    assert {name: page.text_of[name] for name in wanted} == {name: f"{number:,}" for name, number in wanted.items()}
    rows = {row[0].strip(): row for row in page.rows if row}
    for fault in figures["faults"]:
        row = rows[fault["title"]]
        assert row[2] == f"{fault['people']:,}"
        assert row[4] == (f"{fault['readings_set_aside']:,}" if fault["readings"] else "–")
        if fault["off_by"]["systolic"]:
            assert re.findall(r"\d+\.\d", row[7]) == [
                f"{abs(end):.1f}" for end in dict.fromkeys(fault["off_by"]["systolic"])
            ]
    shown = [row[1].replace("−", "-") for row in page.rows if row and row[0].endswith(", all people")]
    differences = [one for grouping in figures["groups"]["groupings"] for one in grouping["differences"]]
    for cell, difference in zip(shown, differences, strict=True):
        low, high = difference["from_the_others"]["systolic"]["interval95_together"]
        assert f"({low:+.1f} … {high:+.1f})" in cell


def test_what_is_urgent_stands_before_all_else(text, figures):
    first = text.index("<li")
    assert text[first:].startswith('<li class="urgent">') and text.index("<table") > first
    assert f"People with something urgent: {figures['urgent']['people']}." in text


def test_the_page_asks_nobody_for_anything_and_has_no_script(text):
    page = Page(text)
    assert not [tag for tag, _ in page.elements if tag in ("script", "link", "iframe", "form", "object")]
    assert not [attrs for _, attrs in page.elements if {"style", "href"} & set(attrs) or any(a[:2] == "on" for a in attrs)]
    (style,) = re.findall("<style>(.*?)</style>", text, re.DOTALL)
    digest = b64encode(sha256(style.encode()).digest()).decode()
    (policy,) = [
        attrs["content"] for tag, attrs in page.elements if tag == "meta" and "content" in attrs and "http-equiv" in attrs
    ]
    assert policy == page_policy() and digest in policy and "url(" not in style
    plots = [attrs for tag, attrs in page.elements if tag == "img"]
    assert len(plots) == 2 and all(plot["src"].startswith("data:image/svg+xml;base64,") and plot["alt"] for plot in plots)


def test_what_is_hostile_is_text_in_tables_and_plots(figures):
    damaged = deepcopy(figures)
    damaged["device_checks"]["shared_devices"][0]["device"] = HOSTILE
    damaged["groups"]["groupings"][0]["groups"][0]["name"] = HOSTILE
    damaged["groups"]["groupings"][0]["differences"][0]["group"] = HOSTILE + "$\\bad{$\x00"
    damaged["groups"]["groupings"][0]["by"] = HOSTILE
    damaged["faults"][0] |= {"title": HOSTILE, "rule": "of-old-rules"}
    damaged["act_first"] = [{"code": "no-category", "about": HOSTILE, "people": 7}]
    text = practice_page(damaged, rules().ruleset).decode()
    page = Page(text)
    assert not [tag for tag, _ in page.elements if tag == "script"]
    assert sum(HOSTILE in row[0] for row in page.rows if row) == 4
    for plot in (attrs["src"] for tag, attrs in page.elements if tag == "img"):
        drawn = etree.fromstring(b64decode(plot.partition(",")[2]))
        assert not [element for element in drawn.iter() if str(element.tag).endswith("script")]


@pytest.mark.parametrize("language", languages())
def test_a_page_is_in_its_language_whole_and_has_no_code_in_it(figures, language):
    page = html.fromstring(practice_page(figures, rules().ruleset, language))
    assert page.get("lang") == language
    wording = rules().ruleset.wording[language]
    for key in ("practice-title", "practice-faults", "practice-groups-how"):
        assert wording.pages[key].partition("{")[0] in page.text_content()
    fault = figures["faults"][0]
    assert wording.rules[fault["rule"]].title in page.text_content()
    plots = [etree.fromstring(b64decode(image.get("src").partition(",")[2])) for image in page.iter("img")]
    drawn = " ".join(text for plot in plots for text in plot.itertext())
    assert wording.rules[fault["rule"]].title in drawn
    for element in [*page.iter("style"), *page.iter("code")]:
        element.drop_tree()
    told = page.text_content() + drawn
    compound = {code for code in codes() if CODED.search(code)} | {*NO_CATEGORY_REASONS[1:], *SHARES[1:3]}
    assert standing(told, compound) == set()
    assert {code for code in (*VERDICTS, "not told") if language != "en" and code in told} == set()


def test_bars_and_intervals_are_those_of_the_figures(figures):
    shown = [(fault["title"], fault["people"]) for fault in figures["faults"]]
    drawn = etree.fromstring(faults_plot(shown, "People"))
    texts = [text.strip() for text in drawn.itertext() if text.strip()]
    assert {str(people) for _, people in shown[:MOST_BARS]} <= set(texts)
    first = figures["groups"]["groupings"][1]["differences"][0]
    plot = differences_plot([DifferenceRow("x", first["from_the_others"])], "mmHg", rules().ruleset.wording["en"].pages)
    one = etree.fromstring(plot)
    assert first["from_the_others"]["systolic"]["differs"] and "x" in "".join(one.itertext())
    assert faults_plot([], "People") is None and differences_plot([], "mmHg", {}) is None


def test_an_unknown_language_is_refused_with_the_near_one(tables):
    result = CliRunner().invoke(main, ["practice", str(tables), "--language", "dee"])
    assert result.exit_code == 2 and "'dee' is no language of the rules" in result.output and "'de'" in result.output


def test_without_the_library_for_plots_the_page_is_made_all_the_same(figures, monkeypatch):
    monkeypatch.setattr(practice_page_module, "can_draw", lambda: False)
    assert b"<img" not in practice_page(figures, rules().ruleset)


def test_the_command_writes_page_and_figures_for_its_owner_alone(tables, tmp_path, figures):
    for to in ("html", "json"):
        result = CliRunner().invoke(main, ["practice", str(tables), "--to", to, "--output", str(tmp_path / to)])
        assert result.exit_code == 0, result.output
        assert (tmp_path / to).stat().st_mode & 0o077 == 0
    assert (tmp_path / "html").read_bytes() == practice_page(figures, rules().ruleset)
    assert f'"assessed":{figures["people"]["assessed"]}' in (tmp_path / "json").read_text()
