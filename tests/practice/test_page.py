"""The page of a practice: its numbers are those of the JSON, it asks nobody for anything, what is hostile is text."""

import re
from base64 import b64encode
from copy import deepcopy
from hashlib import sha256
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.practice.figures import practice_figures
from heartlevel.practice.folder import Folder
from heartlevel.practice.page import practice_page
from practice.clinic import tables
from support import rules

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
    return practice_page(figures, rules().ruleset)


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
        assert f"({low:+.1f} to {high:+.1f})" in cell


def test_what_is_urgent_stands_before_all_else(text, figures):
    first = text.index("<li")
    assert text[first:].startswith('<li class="urgent">') and text.index("<table") > first
    assert f"{figures['urgent']['people']} people have something urgent" in text


def test_the_page_asks_nobody_for_anything_and_has_no_script(text):
    page = Page(text)
    assert not [tag for tag, _ in page.elements if tag in ("script", "link", "img", "iframe", "form", "object")]
    assert not [
        attrs for _, attrs in page.elements if {"style", "src", "href"} & set(attrs) or any(a[:2] == "on" for a in attrs)
    ]
    (style,) = re.findall("<style>(.*?)</style>", text, re.DOTALL)
    digest = b64encode(sha256(style.encode()).digest()).decode()
    (policy,) = [
        attrs["content"] for tag, attrs in page.elements if tag == "meta" and "content" in attrs and "http-equiv" in attrs
    ]
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}'") and "url(" not in style


def test_what_is_hostile_is_text(figures):
    damaged = deepcopy(figures)
    damaged["device_checks"]["shared_devices"][0]["device"] = HOSTILE
    damaged["groups"]["groupings"][0]["groups"][0]["name"] = HOSTILE
    damaged["groups"]["groupings"][0]["by"] = HOSTILE
    damaged["faults"][0]["title"] = HOSTILE
    page = Page(practice_page(damaged, rules().ruleset))
    assert not [tag for tag, _ in page.elements if tag in ("script", "img")]
    assert sum(HOSTILE in row[0] for row in page.rows if row) == 3


def test_the_command_writes_page_and_figures_for_its_owner_alone(tables, tmp_path, figures):
    for to in ("html", "json"):
        result = CliRunner().invoke(main, ["practice", str(tables), "--to", to, "--output", str(tmp_path / to)])
        assert result.exit_code == 0, result.output
        assert (tmp_path / to).stat().st_mode & 0o077 == 0
    assert (tmp_path / "html").read_text() == practice_page(figures, rules().ruleset)
    assert f'"assessed":{figures["people"]["assessed"]}' in (tmp_path / "json").read_text()
