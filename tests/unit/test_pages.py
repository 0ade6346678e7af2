"""README fits a terminal and refuses another Python first; DEVELOPERS.md stays short; links lead somewhere."""

import re
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
README = (TOP / "README.md").read_text("utf-8")
PAGES = (
    "README.md", "DEVELOPERS.md", "service/FILES.md", "service/FHIR.md", "service/INTEGRATING.md", "service/DECISIONS.md",
    "tests/bench/README.md", "docker/README.md", "docker/SECURITY.md", "docker/RELEASE.md",
)  # fmt: skip


def test_the_readme_fits_a_terminal():
    assert [line for line in README.splitlines() if len(line) > 80] == []


def test_both_commands_install_this_package_before_any_other():
    # Its metadata name the Pythons it runs with: pip refuses another one by them, in a line, and installs nothing.
    commands = re.findall(r"^    python3 -m venv (?:.+\n)+", README, re.MULTILINE)
    assert len(commands) == 2
    for command in commands:
        assert command.index("--no-deps") < command.index("--require-hashes")


def test_the_page_for_developers_is_short():
    assert len((TOP / "DEVELOPERS.md").read_text("utf-8").splitlines()) < 120


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_to_files(page):
    targets = re.findall(r"\]\(([^)#]+)\)", (TOP / page).read_text("utf-8"))
    assert [target for target in targets if not (TOP / page).parent.joinpath(target).exists()] == []
