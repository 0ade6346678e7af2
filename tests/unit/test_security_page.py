"""The threat model: of each kind of STRIDE threats with a control and a test that is there."""

import ast
import re
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
PAGE = (TOP / "docker/SECURITY.md").read_text("utf-8")
# Shostack and others, "STRIDE" (Microsoft, 1999), from memory.
KINDS = ("Spoofing", "Tampering", "Repudiation", "Information disclosure", "Denial of service", "Elevation of privilege")


def threats(kind: str) -> list[list[str]]:
    """Return the rows of a kind's table: threat, control, test."""
    (section,) = re.findall(rf"^## {kind}: .*?(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL)
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line.startswith("|")]
    assert rows[0] == ["threat", "control", "test"]
    return rows[2:]


def is_there(test: str) -> bool:
    path, _, name = test.partition("::")
    nodes = ast.parse((TOP / path).read_text("utf-8")).body
    return any(isinstance(node, ast.FunctionDef) and node.name == name for node in nodes)


@pytest.mark.parametrize("kind", KINDS)
def test_each_threat_has_a_control_and_a_test_that_is_there(kind):
    rows = threats(kind)
    assert len(rows) >= 4
    assert [row for row in rows if len(row) != 3 or not all(row)] == []
    tests = [re.fullmatch(r"`(tests/[\w/]+\.py::test_\w+)`", row[2]) for row in rows]
    assert [row for row, test in zip(rows, tests, strict=True) if test is None or not is_there(test[1])] == []


def test_no_kind_is_left_out_and_none_is_made_up():
    assert tuple(re.findall(r"^## ([A-Z][\w ]+): ", PAGE, re.MULTILINE)) == KINDS


def test_a_test_that_is_not_there_is_found_out():
    assert not is_there("tests/unit/test_security_page.py::test_nothing_of_the_kind")
