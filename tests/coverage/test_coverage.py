"""Every row of the clinical reference is answered by something that exists, or says why it is not; nothing is left over."""

import ast
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
import yaml

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.files.source import LOADER
from support import rules

HERE = Path(__file__).parent
SECTIONS = yaml.load((HERE / "rows.yaml").read_text("utf-8"), LOADER)
ROWS = [row for section in SECTIONS for row in section["rows"]]


def names_of_tests() -> set[str]:
    """The name of every test function of the suite."""
    trees = [ast.parse(path.read_text("utf-8")) for path in HERE.parent.rglob("test_*.py")]
    return {node.name for tree in trees for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}  # fmt: skip


@cache
def known() -> dict[str, set[str]]:
    ruleset = rules().ruleset
    return {
        "rule": {rule.id for rule in ruleset.every_rule()},
        "fact": set(CATALOGUE),
        "guideline": set(ruleset.guidelines),
        "protocol": set(ruleset.protocols),
        "test": names_of_tests(),
    }


def named() -> list[list[str]]:
    return [one.split(":", 1) for row in ROWS for one in row.get("by", [])]


def test_everything_named_exists():
    have = known()
    assert not [(kind, name) for kind, name in named() if name not in have[kind]]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["row"])
def test_a_row_has_a_source_and_an_answer_or_a_reason_for_none(row):
    assert row["source"].strip()
    assert row.get("by") or row.get("lacks", "").strip()
    assert row.keys() <= {"row", "source", "by", "lacks"}


@pytest.mark.parametrize("kind", ["rule", "guideline", "protocol"])
def test_nothing_that_decides_is_without_a_row(kind):
    assert known()[kind] <= {name for one, name in named() if one == kind}


def test_no_row_stands_twice():
    assert [row for row, times in Counter(row["row"] for row in ROWS).items() if times > 1] == []


# The reference's sections on measuring, thresholds, definitions, technique, cuffs, devices, plausibility, urgent values.
def test_every_section_is_there():
    assert [section["section"][0] for section in SECTIONS] == ["1", "1", "2", "3", "4", "5", "6", "7", "9", "F"]
