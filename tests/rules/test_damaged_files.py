"""Shipped rule files, damaged: load() names the damage where it is, or takes the file and its examples still run."""

import random
import re
import shutil
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from heartlevel import RuleFaults
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.examples import OUTCOMES
from rules.damages import DAMAGES, Damage, insert_a_tab, repeat_a_key
from support import examples, rules

FOLDER = shipped("rules")
# Those that are read when rules are loaded: patients are not, `heartlevel rules test` runs them.
FILES = [path.relative_to(FOLDER).as_posix() for path in sorted(FOLDER.rglob("*.yaml")) if path.parent.name != "patients"]


@cache
def doable(damage: Callable) -> list[tuple]:
    """A kind of damage with each of the files it can do something to."""
    texts = {file: (FOLDER / file).read_text() for file in FILES}
    return [(damage, file) for file, text in texts.items() if damage(text, random.Random(0)).content != text.encode()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return Path(shutil.copytree(FOLDER, tmp_path_factory.mktemp("damaged") / "rules"))


def loaded_with(folder: Path, file: str, content: bytes):
    """Return the rule set, or the faults, of a folder in which one file is another; then put it back."""
    (folder / file).write_bytes(content)
    try:
        return load(folder)
    except RuleFaults as refused:
        return refused.faults
    finally:
        shutil.copyfile(FOLDER / file, folder / file)


def around(sound: str, line: int) -> set[int]:
    """Return a line, two to each side, and the lines it is indented under: a missing field is named there."""
    lines = sound.split("\n")
    widths = [len(one) - len(one.lstrip(" ")) for one in lines]
    found, indent = {1, *range(line - 2, line + 3)}, widths[line - 1]
    for place in range(line - 2, -1, -1):
        if lines[place].strip() and widths[place] < indent:
            found.add(place + 1)
            indent = widths[place]
    return found


def limits_of(ruleset: RuleSet):
    profiles = [ruleset.guidelines, ruleset.protocols]
    return [{name: one.limits for name, one in some.items()} for some in profiles], ruleset.default_guideline


def examples_of(ruleset: RuleSet) -> list[tuple[Rule, Example]]:
    return [(rule, example) for rule in ruleset.every_rule() for example in rule.examples]


def outcome(ruleset: RuleSet, rule, example) -> str:
    guideline = example.guideline or ruleset.default_guideline
    protocol = example.protocol or ruleset.guidelines[guideline].protocol
    facts = {name: CATALOGUE[name].encoded(value) for name, value in example.given.items()}
    known = {name: None if value != value else value for name, value in facts.items()}
    findings = {other.id: other.id in example.findings for other in ruleset.rules[rule.scope]}
    held = verdict(rule.condition, known, ruleset.limits(guideline, protocol), findings)
    return "unknown" if held is None else OUTCOMES[held]


def is_missed(fault, made: Damage) -> bool:
    """Tell whether a fault in another file names what the damaged file gave it before."""
    return fault.code.startswith("unknown-") if made.line is None else str(made.word) in fault.detail


SOUND = {rule.id: rule for rule in rules().ruleset.every_rule()}


def test_this_way_of_judging_examples_agrees_with_them_before_any_damage():
    ruleset = rules().ruleset
    assert all(outcome(ruleset, rule, example) == example.expect for rule, example in examples_of(ruleset))


def examples_come_out(ruleset: RuleSet) -> None:
    """Run every example; as written it must come out where neither rule, examples nor limits were touched."""
    same_limits = limits_of(ruleset) == limits_of(rules().ruleset)
    for rule, example in examples_of(ruleset):
        found = outcome(ruleset, rule, example)
        before = SOUND.get(rule.id)
        untouched = before and (before.condition, before.examples) == (rule.condition, rule.examples)
        assert found == example.expect or not (same_limits and untouched)


NEVER_TAKEN = {repeat_a_key: "repeated-key", insert_a_tab: "not-yaml"}
SEEN: Counter[tuple[str, bool]] = Counter()


@settings(max_examples=examples(100), deadline=20_000, phases=[Phase.generate])
@given(done=st.sampled_from(DAMAGES).flatmap(lambda damage: st.sampled_from(doable(damage))), seed=st.integers(0, 2**32))
def test_damage_is_named_where_it_is_or_the_examples_still_run(folder, done, seed):
    damage, file = done
    sound = (FOLDER / file).read_text()
    made = damage(sound, random.Random(seed))
    found = loaded_with(folder, file, made.content)
    SEEN[damage.__name__, isinstance(found, RuleSet)] += 1
    if isinstance(found, RuleSet):
        assert damage not in NEVER_TAKEN
        examples_come_out(found)
        return
    assert NEVER_TAKEN.get(damage) in {None, *(one.code for one in found)}
    here = [one for one in found if one.file == file]
    assert here or any(is_missed(one, made) for one in found), found
    if made.line is not None and not any(is_missed(one, made) for one in found):
        assert {one.line for one in here} & around(sound, made.line), (made.line, here)


def test_every_damage_was_done_and_hardly_any_only_taken():
    assert {name for name, _ in SEEN} == {one.__name__ for one in DAMAGES}
    assert sum(count for (_, taken), count in SEEN.items() if not taken) > sum(SEEN.values()) / 2


HEART_LEVEL, URGENT, ENGLISH, GUIDELINE = (
    "reading/heart-level.yaml", "reading/urgent.yaml", "wording/en.yaml", "guidelines/esc-2024.yaml"
)  # fmt: skip
GIVEN = "{given: {hydrostatic_offset_mmhg: 1.9}"
# Values that a reader of YAML lets through and that no field is meant to hold: (file, before, after).
STRANGE = {
    "a mention that is a mapping": (URGENT, "finding: low-with-fainting\n", "finding: {a: b}\n"),
    "a condition's number too large for a float": (URGENT, "{above: 0}", f"{{above: {'9' * 400}}}"),
    "a parameter too large for a float": (HEART_LEVEL, "    most: 5", f"    most: {'9' * 400}"),
    "a parameter that is a list": (HEART_LEVEL, "    most: 5", "    most: [5]"),
    "a parameter that is infinite": (HEART_LEVEL, "    most: 5", "    most: .inf"),
    "parameters that are a list": (HEART_LEVEL, "  parameters:\n    most: 5\n", "  parameters: [5]\n"),
    "an example's number too large for a float": (HEART_LEVEL, GIVEN, GIVEN.replace("1.9", "9" * 400)),
    "an example's number of more than 64 bits": (HEART_LEVEL, GIVEN, GIVEN.replace("1.9", "9" * 30)),
    "an example's infinite number": (HEART_LEVEL, GIVEN, GIVEN.replace("1.9", "-.inf")),
    "an example under no guideline": (HEART_LEVEL, GIVEN, GIVEN.replace("{given", "{guideline: nowhere, given")),
    "an example under no protocol": (HEART_LEVEL, GIVEN, GIVEN.replace("{given", "{protocol: nowhere, given")),
    "an expected error that is nothing": (
        HEART_LEVEL,
        "diastolic: {reads: either, amount: hydrostatic_offset_mmhg}",
        "diastolic: null",
    ),
    "a next step that is a list": (ENGLISH, "  use-other-arm: Do", "  use-other-arm: [1]\n  other: Do"),
    "a next step that is nothing": (ENGLISH, "  use-other-arm: Do", "  use-other-arm:\n  other: Do"),
    "correspondence of more than 64 bits": (GUIDELINE, "\ncategories:", f"\ncorrespondence: [{'9' * 30}]\ncategories:"),
}


@pytest.mark.parametrize("strange", STRANGE)
def test_a_strange_value_is_a_fault_at_its_line(folder, strange):
    file, before, after = STRANGE[strange]
    text = (FOLDER / file).read_text()
    assert before in text
    found = loaded_with(folder, file, text.replace(before, after, 1).encode())
    assert not isinstance(found, RuleSet)
    line = text[: text.index(before)].count("\n") + 1 + before.startswith("\n")
    assert any((one.file, one.line) == (file, line) for one in found), found


@pytest.mark.parametrize("steps", ["5", "true", "word", "[a, b]"])
def test_next_steps_that_are_no_mapping_are_a_fault_in_their_file(folder, steps):
    text = re.sub(r"(?ms)^next_steps:.*(?=^cautions:)", f"next_steps: {steps}\n", (FOLDER / ENGLISH).read_text())
    found = loaded_with(folder, ENGLISH, text.encode())
    assert any(one.file == ENGLISH for one in found)


def test_an_empty_list_of_sources_is_a_fault(folder):
    text = re.sub(r"(?ms)^  sources:.*?(?=^  examples:)", "  sources: []\n", (FOLDER / HEART_LEVEL).read_text(), count=1)
    found = loaded_with(folder, HEART_LEVEL, text.encode())
    assert not isinstance(found, RuleSet)
    assert [one.file for one in found] == [HEART_LEVEL]


def test_a_directory_with_the_name_of_a_rule_file_is_a_fault(folder):
    (folder / "reading" / "folder.yaml").mkdir()
    try:
        with pytest.raises(RuleFaults) as refused:
            load(folder)
    finally:
        (folder / "reading" / "folder.yaml").rmdir()
    assert {one.file for one in refused.value.faults} == {"reading/folder.yaml"}
