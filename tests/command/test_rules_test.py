"""`heartlevel rules test`: every example is run, and one that comes out otherwise is shown whole."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel.command.rules.test import test_rules as run_examples
from heartlevel.resources import shipped
from heartlevel.vignettes.judging import shipped_patients
from heartlevel.vocabulary import SCOPES
from support import OWN_RULE, rules, without_worded_rules

COMPARISON = "series/comparison.yaml"


@pytest.fixture
def folder(tmp_path) -> Path:
    """Rules without patients: the tests of these are beside the tests of rule files."""
    return Path(shutil.copytree(shipped("rules"), tmp_path / "rules", ignore=shutil.ignore_patterns("patients")))


def edit(folder: Path, before: str, after: str) -> int:
    """Replace the first occurrence in the comparison rules; return its line."""
    path = folder / COMPARISON
    text = path.read_text()
    path.write_text(text.replace(before, after, 1))
    return text[: text.index(before)].count("\n") + 1


def run(*words: object):
    return CliRunner().invoke(run_examples, [str(word) for word in words])


def test_all_examples_of_the_shipped_rules_are_run_and_counted():
    written = [len(rule.examples) for rule in rules().ruleset.every_rule()]
    result = run()
    assert result.exit_code == 0
    assert result.output.splitlines() == [
        f"{len(written)} rules, {sum(written)} examples: {sum(written)} as written, 0 not",
        f"{len(shipped_patients())} patients: {len(shipped_patients())} as written, 0 not",
    ]


def test_an_example_that_comes_out_otherwise_is_shown_with_every_comparison_and_ends_with_1(folder):
    before = "- {given: {office_systolic: 139, office_diastolic: 90}, guideline: esc-2024, expect: fires}"
    line = edit(folder, before, before.replace("fires", "silent"))
    result = run(folder)
    assert result.exit_code == 1
    assert result.output.splitlines()[:10] == [
        f"{COMPARISON}:{line}: office-pressure-raised, example 6",
        "    given: office_systolic 139, office_diastolic 90",
        "    under: esc-2024, esc-2024",
        "  - silent",
        "  + fires",
        "    finding under-eighteen: false",
        "    finding limits-unclear: false",
        "    office_systolic at least office.hypertension.systolic (140): 139 -> false",
        "    office_diastolic at least office.hypertension.diastolic (90): 90 -> true",
        "",
    ]
    assert result.output.splitlines()[-2].endswith(" as written, 1 not")


def test_the_findings_an_example_takes_as_given_and_what_it_leaves_out_are_shown(folder):
    before = "- {given: {office_systolic: 150, office_diastolic: 95}, findings: [under-eighteen], expect: silent}"
    edit(folder, before, "- {given: {office_systolic: 150}, findings: [under-eighteen], expect: unknown}")
    output = run(folder).output
    assert "    given: office_systolic 150; findings under-eighteen\n" in output
    assert "  - unknown\n  + silent\n    finding under-eighteen: true\n" in output
    assert "office_diastolic at least office.hypertension.diastolic (80): not recorded -> unknown\n" in output


def test_every_failure_is_shown_not_only_the_first(folder):
    edit(folder, "- {given: {age_years: 17}, expect: fires}", "- {given: {age_years: 17.5}, expect: unknown}")
    edit(folder, "- {given: {age_years: 18}, expect: silent}", "- {given: {age_years: 17}, expect: fires}\n"
         "    - {given: {age_years: 18}, expect: fires}")  # fmt: skip
    result = run(folder)
    assert (result.output.count("  - "), result.exit_code) == (2, 1)


def test_a_run_without_any_example_ends_with_1_and_says_so(folder):
    for scope in SCOPES:
        shutil.rmtree(folder / scope)
    without_worded_rules(folder)
    result = run(folder)
    assert result.exit_code == 1
    assert "0 rules, 0 examples" in result.output
    assert "nothing was run" in result.stderr


def test_rules_that_cannot_be_read_end_with_1_and_their_place(folder):
    line = edit(folder, "scope: series", "scope: serie")
    result = run(folder)
    assert result.exit_code == 1
    assert f"{COMPARISON}:{line}:" in result.stderr


def test_under_a_layer_only_the_rules_it_adds_or_changes_are_run(tmp_path):
    clinic = tmp_path / "clinic"
    (clinic / "reading").mkdir(parents=True)
    (clinic / "layer.yaml").write_text('name: Clinic\nrevision: "1"\n')
    (clinic / "reading" / "own.yaml").write_text(OWN_RULE)
    result = run("--layer", clinic)
    assert (result.exit_code, result.output) == (
        0,
        "1 rules, 2 examples: 2 as written, 0 not\n0 patients: 0 as written, 0 not\n",
    )
