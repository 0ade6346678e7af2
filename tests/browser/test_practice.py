"""The page of a practice in a real browser."""

import pytest

from browser.watched import WIDTHS, violations, watched
from heartlevel.practice.figures import practice_figures
from heartlevel.practice.folder import Folder
from heartlevel.practice.page import practice_page
from practice.clinic import tables
from support import rules

__all__ = ["tables"]


@pytest.fixture(scope="module")
def page_file(tables, tmp_path_factory):
    path = tmp_path_factory.mktemp("practice") / "practice.html"
    path.write_bytes(practice_page(practice_figures(Folder(tables), rules().ruleset), rules().ruleset))
    return path.as_uri()


@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_its_window_and_needs_nothing_else(chromium, page_file, width):
    with watched(chromium, page_file, width) as page:
        assert page.inner_text("main h2:first-of-type") == "First"
        assert page.evaluate("getComputedStyle(document.querySelector('.box')).borderLeftWidth") != "0px"  # it is styled


def test_axe_finds_nothing(chromium, page_file):
    assert violations(chromium, page_file) == []
