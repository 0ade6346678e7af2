"""Every example beside a rule, and wrong rule files: each mistake is named at its line."""

import shutil
from collections.abc import Callable
from pathlib import Path
from re import search

import pytest

from heartlevel import RuleFaults
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.running.examples import OUTCOMES, judged_examples, wrong_examples
from heartlevel.ruling.running.verdicts import Program
from support import rules

COMPARED = Program._compared_each

EXAMPLES = list(judged_examples(rules().ruleset, rules().programs))


def _names():
    for case in EXAMPLES:
        yield f"{case.rule.id}-{case.index + 1}-{case.example.expect}"


@pytest.mark.parametrize("case", EXAMPLES, ids=_names())
def test_every_example_beside_a_rule_comes_out_as_written(case):
    assert case.outcome == case.example.expect


def test_all_examples_there_are_were_judged():
    assert len(EXAMPLES) == sum(len(rule.examples) for rule in rules().ruleset.every_rule()) > 0


def test_every_rule_has_an_example_where_it_fires_and_one_where_it_is_silent():
    seen = {(case.rule.id, case.example.expect) for case in EXAMPLES}
    wanted = {(rule.id, outcome) for rule in rules().ruleset.every_rule() for outcome in ("fires", "silent")}
    assert wanted <= seen
    assert {outcome for _, outcome in seen} <= set(OUTCOMES)


HEART_LEVEL, URGENT, GUIDELINE = "reading/heart-level.yaml", "reading/urgent.yaml", "guidelines/esc-2024.yaml"
PROTOCOL = "protocols/esc-2024.yaml"
GUIDELINE_SOURCES = search(r"sources:\n(  - .*\n)+", (shipped("rules") / GUIDELINE).read_text())[0]


@pytest.fixture
def folder(tmp_path) -> Path:
    return Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))


def edit(folder: Path, file: str, before: str, after: str) -> int:
    """Replace the first occurrence; return its line."""
    text = (folder / file).read_text()
    assert before in text, before
    (folder / file).write_text(text.replace(before, after, 1))
    return text[: text.index(before)].count("\n") + 1


def faults(folder: Path):
    with pytest.raises(RuleFaults) as raised:
        load(folder)
    return raised.value.faults


WHEN_BELOW = "    hydrostatic_offset_mmhg: {above: {param: most}}\n"
# name: (file, before, after, code, lines below the start of `before` where the fault is, hint)
MISTAKES = {
    "an unknown fact": (
        HEART_LEVEL, WHEN_BELOW, "    hydrostatic_ofset_mmhg: {above: {param: most}}\n",
        "unknown-fact", 0, "hydrostatic_offset_mmhg"),
    "an unknown operator": (
        HEART_LEVEL, WHEN_BELOW, "    hydrostatic_offset_mmhg: {abov: {param: most}}\n", "unknown-operator", 0, "above"),
    "a repeated id": (
        HEART_LEVEL, "- id: cuff-above-heart", "- id: cuff-below-heart", "repeated-id", 0, None),
    "an unknown limit": (
        URGENT, "          - systolic: {at_least: {limit: severe.systolic}}",
        "          - systolic: {at_least: {limit: severe.systolc}}", "unknown-limit", 0, "severe.systolic"),
    "an unknown placeholder": (
        HEART_LEVEL, "    The middle of the cuff was {arm_height_cm} cm from",
        "    The middle of the cuff was {arm_heigth_cm} cm from", "unknown-placeholder", -1, "arm_height_cm"),
    "an unknown key": (
        HEART_LEVEL, "  effect: none\n", "  effect: none\n  severety: low\n", "unknown-key", 1, "severity"),
    "a repeated key": (
        HEART_LEVEL, "  effect: none\n", "  effect: none\n  effect: none\n", "repeated-key", 1, None),
    "an anchor": (
        HEART_LEVEL, "  title: Cuff slightly off", "  title: &name Cuff slightly off", "not-yaml", 0, None),
    "a tag": (
        HEART_LEVEL, "  title: Cuff slightly off", "  title: !!python/name:os.system Cuff slightly off", "tag", 0, None),
    "an unknown next step": (
        HEART_LEVEL, "  next_step: bring-cuff-to-heart-level", "  next_step: bring-cuff-to-heart-levl",
        "unknown-name", 0, "bring-cuff-to-heart-level"),
    "an unknown finding": (
        URGENT, "- finding: low-with-fainting\n", "- finding: low-with-faintin\n", "unknown-finding", 0,
        "low-with-fainting"),
    "a wrong kind of value": (
        HEART_LEVEL, "      - arm_level: {equals: below}", "      - arm_level: {equals: beneath}",
        "wrong-value", 0, None),
    "an operator for numbers only": (
        HEART_LEVEL, "      - arm_level: {equals: below}", "      - arm_level: {above: below}",
        "wrong-operator", 0, None),
    "an empty group": (
        URGENT, "      - none: [{finding: entered-in-kilopascals}]", "      - none: []", "empty-group", 0, None),
    "a guideline's unknown protocol": (
        GUIDELINE, "protocol: esc-2024", "protocol: esc-2042", "unknown-name", 0, "esc-2024"),
    "an id with capitals": (
        HEART_LEVEL, "- id: cuff-near-heart-level", "- id: Cuff-near-heart-level", "not-a-name", 0, "hyphens"),
    "an id in curly quotes": (GUIDELINE, "{id: elevated,", "{id: “elevated”,", "not-a-name", 0, "hyphens"),
    "a limit written as conditions name it": (
        GUIDELINE, "  office: {hypertension:", "  office.hypertension: {systolic: 140}\n  office: {hypertension:",
        "unknown-key", 0, "write it nested: office: {hypertension: …}"),
    "part of a day": (PROTOCOL, "minimum_days: 3", "minimum_days: 3.5", "not-whole", 0, "3.5"),
    "a guideline without sources": (
        GUIDELINE, GUIDELINE_SOURCES, "sources: []\n", "too-few", 0, "at least 1"),
    "a conversion in a placeholder": (
        HEART_LEVEL, "    The middle of the cuff was {arm_height_cm} cm from",
        "    The middle of the cuff was {arm_height_cm!r} cm from", "unknown-placeholder", -1, "arm_height_cm!r"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_at_its_line(folder, mistake):
    file, before, after, code, below, hint = MISTAKES[mistake]
    line = edit(folder, file, before, after) + below
    found = [one for one in faults(folder) if one.code == code]
    assert [(one.file, one.line) for one in found][:1] == [(file, line)]
    assert hint is None or hint in f"{found[0].detail} {found[0].hint}"
    assert str(found[0]).startswith(f"{file}:{line}:")


def test_a_rule_without_sources_is_refused(folder):
    path = folder / HEART_LEVEL
    text = path.read_text()
    start = text.index("  sources:\n")
    path.write_text(text[:start] + text[text.index("  examples:\n", start) :])
    (found,) = [one for one in faults(folder) if one.code == "missing"]
    assert found.file == HEART_LEVEL
    assert found.line == text[: text.index("- id:")].count("\n") + 1
    assert "sources" in found.detail


def test_a_rule_in_the_folder_of_another_scope_is_one_mistake(folder):
    shutil.move(folder / HEART_LEVEL, folder / "series" / "heart-level.yaml")
    found = faults(folder)
    assert {one.code for one in found} == {"wrong-scope"}
    assert len({one.line for one in found}) == len(found) == (folder / "series/heart-level.yaml").read_text().count("- id:")


def test_rules_that_mention_each_other_in_a_circle_are_refused(folder):
    (folder / "reading" / "circle.yaml").write_text(
        "\n".join(
            f"""- id: circle-{name}
  scope: reading
  when: {{finding: circle-{other}}}
  effect: none
  severity: low
  title: Circle
  explanation: Circle.
  advice: Circle.
  sources: [{{cite: "none", standing: common-practice}}]
  examples:
    - {{given: {{}}, findings: [circle-{other}], expect: fires}}
    - {{given: {{}}, expect: silent}}
"""
            for name, other in (("one", "two"), ("two", "one"))
        )
    )
    found = faults(folder)
    assert [(one.file, one.line, one.code) for one in found] == [
        ("reading/circle.yaml", 3, "cycle"), ("reading/circle.yaml", 16, "cycle"),
    ]  # fmt: skip


def test_several_mistakes_are_reported_at_once_in_order_of_place(folder):
    several = ["an unknown fact", "an unknown operator", "an unknown limit", "a guideline's unknown protocol"]
    wanted = []
    for name in several:
        file, before, after, code, below, _ = MISTAKES[name]
        if name == "an unknown operator":  # another place than the unknown fact's
            before = "    hydrostatic_offset_mmhg: {below: {minus: most}}\n"
            after = before.replace("below", "belw")
        wanted.append((file, edit(folder, file, before, after) + below, code))
    found = faults(folder)
    assert [(one.file, one.line, one.code) for one in found] == sorted(wanted)


def _rename_files(folder: Path) -> None:
    for place, path in enumerate(sorted((folder / "reading").iterdir(), reverse=True)):
        path.rename(path.with_name(f"{place:02d}.yaml"))


def _join_files(folder: Path) -> None:
    texts = []
    for path in sorted((folder / "reading").iterdir(), reverse=True):
        texts.append(path.read_text())
        path.unlink()
    (folder / "reading" / "all.yaml").write_text("\n".join(texts))


def _comment(folder: Path) -> None:
    for path in folder.rglob("*.yaml"):
        path.write_text(f"# A comment.\n\n{path.read_text()}\n")


@pytest.mark.parametrize("change", [_rename_files, _join_files, _comment])
def test_how_rules_lie_in_files_does_not_change_the_fingerprint(folder, change: Callable[[Path], None]):
    change(folder)
    assert load(folder).fingerprint == rules().ruleset.fingerprint


@pytest.mark.parametrize(
    ("file", "before", "after"),
    [(HEART_LEVEL, "    most: 5\n", "    most: 5.0001\n"),
     (GUIDELINE, "severe: {systolic: 180", "severe: {systolic: 181"),
     (HEART_LEVEL, "  title: Cuff slightly off", "  title: Cuff a little off")],
)  # fmt: skip
def test_any_change_of_content_changes_the_fingerprint(folder, file, before, after):
    edit(folder, file, before, after)
    assert load(folder).fingerprint != rules().ruleset.fingerprint


def test_the_work_of_judging_examples_grows_with_them_and_not_with_the_rules_beside(monkeypatch):
    made = []

    def counted(self, facts, row, term, profile):
        made.append(len(row))
        return COMPARED(self, facts, row, term, profile)

    monkeypatch.setattr(Program, "_compared_each", counted)
    ruleset = rules().ruleset
    assert list(wrong_examples(ruleset, rules().programs)) == []
    own = sum(
        len(rule.examples) * sum(isinstance(leaf, Term) for leaf in rule.leaves) for rule in ruleset.every_rule()
    )  # a rule's own comparisons for each of its examples, and no others
    assert sum(made) == own
