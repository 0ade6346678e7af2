"""A rule has an attribute for all that code asks of it; what its file says is only shown and compared whole."""

import re
from pathlib import Path

import pytest

import heartlevel
from support import rules

RULES = rules().ruleset.every_rule()
PART_READ = re.compile(r"\.written(\[|\.get\()")


def test_no_module_reads_a_part_of_what_a_file_says():
    sources = {path.name: path.read_text() for path in Path(heartlevel.__file__).parent.rglob("*.py")}
    assert [name for name, text in sources.items() if PART_READ.search(text)] == []


@pytest.mark.parametrize("name", ["id", "scope", "severity", "next_step", "field", "pattern"])
def test_an_attribute_is_what_the_file_says(name):
    assert [getattr(rule, name) for rule in RULES] == [rule.written.get(name) for rule in RULES]
    assert {getattr(rule, name) for rule in RULES} != {None}


def test_effects_errors_sources_and_examples_are_what_the_file_says():
    for rule in RULES:
        assert rule.effect_name == rule.written["effect"]
        assert rule.urgent == rule.written.get("urgent", False)
        assert rule.usual_share == rule.written.get("usual_share", 0)
        assert [(source.cite, source.standing) for source in rule.sources] == [
            (source["cite"], source["standing"]) for source in rule.written["sources"]
        ]
        assert [(example.given, example.expect) for example in rule.examples] == [
            (example["given"], example["expect"]) for example in rule.written["examples"]
        ]
        assert {pressure: (shift.reads, shift.bounds, shift.amount) for pressure, shift in rule.expected_error.items()} == {
            pressure: (shift["reads"], tuple(shift["range"]) if "range" in shift else None, shift.get("amount"))
            for pressure, shift in rule.written.get("expected_error", {}).items()
        }
