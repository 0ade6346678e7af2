"""Each threshold has examples just below it, at it and just above it; a command shows and writes those that lack."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.rules import Example
from heartlevel.ruling.tools.boundaries import (
    OUTCOMES,
    examples_wanted,
    hinges,
    missing_positions,
    thresholds,
    verdict_on,
    without_examples,
)
from heartlevel.ruling.tools.commented import NotFormatted
from heartlevel.ruling.tools.formatting import block_of, formatted
from heartlevel.ruling.tools.writing import example_written, last_example, with_examples
from rules.laid import layer, rules_of
from support import OWN_RULE, rules

RULESET = rules().ruleset
# It asks for one reading where the protocol wants more: with two, which no shipped protocol's limit lies below, one part
# decides already.
HINGE_ON_NOTHING = {("single-reading", "at"), ("single-reading", "just above")}


def test_every_threshold_of_the_shipped_rules_has_examples_just_below_at_and_just_above():
    wanted = [(rule.id, position, example) for rule in RULESET.every_rule()
              for _, position, example in examples_wanted(RULESET, rule)]  # fmt: skip
    assert [entry for entry in wanted if entry[2] is not None] == []
    assert {entry[:2] for entry in wanted} == HINGE_ON_NOTHING
    assert sum(1 for rule in RULESET.every_rule() for _ in thresholds(RULESET, rule)) > 250


def bare(name: str, *kept: Example):
    """A shipped rule with few of its examples."""
    rule = next(rule for rule in RULESET.every_rule() if rule.id == name)
    return replace(rule, examples=kept)


def proposed(name: str, *kept: Example) -> list[tuple[str, object, str]]:
    rule = bare(name, *kept)
    (threshold, *_) = thresholds(RULESET, rule)
    fact = threshold.fact.name
    return [(position, example.given[fact], example.expect) for at, position, example in examples_wanted(RULESET, rule)
            if example and at.fact.name == fact]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "given", "wanted"),
    [
        # Whole units, tenths of a centimetre, hundredths of a share; as finely as the threshold is written.
        ("arm-below-cuff-range", {"placement": "upper-arm", "arm_below_cuff_range_cm": 3},
         [(-0.1, "silent"), (0, "silent"), (0.1, "fires")]),
        ("bladder-too-short", {"cuff_length_to_arm": 0.5}, [(0.74, "fires"), (0.75, "silent"), (0.76, "silent")]),
        ("bladder-too-long", {"cuff_length_to_arm": 2}, [(0.99, "silent"), (1, "silent"), (1.01, "fires")]),
        ("pulse-very-fast", {"pulse_repeated_high": 200}, [(130, "silent"), (131, "fires"), (132, "fires")]),
    ],
)  # fmt: skip
def test_examples_are_proposed_as_near_as_the_fact_is_read(name, given, wanted):
    found = [(value, expect) for _, value, expect in proposed(name, Example(given, "fires"))]
    assert set(wanted) <= set(found), found


def test_what_is_proposed_hinges_on_its_threshold_and_is_what_the_rule_says():
    count = 0
    for whole in RULESET.rules["series"][:30]:
        rule = replace(whole, examples=whole.examples[:3])
        for threshold, _, example in examples_wanted(RULESET, rule):
            if example is not None:
                count += 1
                assert OUTCOMES[verdict_on(RULESET, rule, example)] == example.expect
                assert hinges(RULESET, threshold, example)
    assert count > 20


def test_a_value_that_the_fact_cannot_have_is_not_asked_for():
    rule = bare("symptoms-recorded", Example({"most_symptoms_at_once": 1}, "fires"))
    (threshold,) = [one for one in thresholds(RULESET, rule) if one.fact.name == "most_symptoms_at_once"]
    assert list(threshold.values(0.0)) == ["at", "just above"]  # no fewer symptoms than none
    assert list(threshold.values(float("nan"))) == []
    assert missing_positions(RULESET, threshold) == ["at"]


@pytest.fixture
def clinic(tmp_path) -> Path:
    return layer(tmp_path, own=OWN_RULE)


def run(*words: object):
    return CliRunner().invoke(main, ["rules", *map(str, words)])


def test_the_checks_name_what_lacks_in_a_layer_and_nothing_of_the_shipped_rules(clinic):
    assert list(without_examples(RULESET)) == []
    own = clinic / "reading" / "own.yaml"
    own.write_text(OWN_RULE.replace("{pulse: 101}", "{pulse: 140}"))
    result = run("check", clinic)
    assert result.exit_code == 0
    (note,) = [line for line in result.stderr.splitlines() if "pulse-fast-here has no example" in line]
    assert note.startswith("note: pulse-fast-here has no example just below, just above pulse above 100 ")


def test_the_command_shows_and_writes_them_once(clinic):
    own = clinic / "reading" / "own.yaml"
    before = own.read_text()
    shown = run("examples", "--layer", clinic)
    assert shown.stdout.splitlines() == [
        "clinic/reading/own.yaml:13: pulse-fast-here",
        "    pulse above 100, just below: {given: {pulse: 99}, expect: silent}",
        "1 examples wanted",
    ]
    assert own.read_text() == before
    written = run("examples", "pulse-fast-here", "--layer", clinic, "--write")
    assert (written.exit_code, written.stdout.splitlines()[-1]) == (0, "1 examples written")
    assert own.read_text().endswith(
        "    - {given: {pulse: 100}, expect: silent}\n    - {given: {pulse: 99}, expect: silent}\n"
    )
    assert formatted(own.read_text(), block_of(own)) == own.read_text()
    assert run("examples", "--layer", clinic).stdout == "0 examples wanted\n"
    assert run("test", clinic).exit_code == 0


def test_a_rule_that_does_not_exist_is_named_with_the_near_match(clinic):
    result = run("examples", "pulse-fast-hree", "--layer", clinic)
    assert (result.exit_code, "did you mean 'pulse-fast-here'?" in result.stderr) == (2, True)


def test_examples_in_brackets_are_left_alone_and_told(clinic):
    own = clinic / "reading" / "own.yaml"
    text = OWN_RULE[: OWN_RULE.index("  examples:")]
    own.write_text(text + "  examples: [{given: {pulse: 101}, expect: fires}, {given: {pulse: 100}, expect: silent}]\n")
    before = own.read_text()
    result = run("examples", "--layer", clinic, "--write")
    assert result.exit_code == 1
    assert "clinic/reading/own.yaml:11: left alone: " in result.stderr
    assert own.read_text() == before


def test_examples_of_several_rules_of_a_file_are_added_each_to_its_own(tmp_path):
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules", ignore=shutil.ignore_patterns("patients")))
    file = folder / "reading" / "heart-level.yaml"
    own = [rule for rule in load(folder).rules["reading"] if rule.entry.origin.name == "reading/heart-level.yaml"]
    example = Example({"arm_height_cm": 3}, "unknown", ("talking",), "esc-2024")
    written = with_examples(file.read_text(), {last_example(rule): [example] for rule in own})
    file.write_text(written)
    again = {rule.id: rule for rule in load(folder).rules["reading"]}
    assert len(own) > 2
    for rule in own:
        assert again[rule.id].examples == (*rule.examples, example)
    assert (
        example_written(example) == "{given: {arm_height_cm: 3}, findings: [talking], guideline: esc-2024, expect: unknown}"
    )


def test_what_would_be_lost_is_not_written(clinic):
    (rule,) = [rule for rule in rules_of(clinic).rules["reading"] if rule.id == "pulse-fast-here"]
    with pytest.raises(NotFormatted):
        with_examples(
            (clinic / "reading" / "own.yaml").read_text(), {last_example(rule)._replace(line=3): list(rule.examples)}
        )
