"""Whole patients: invented people and what a careful clinician would answer, written before the service was asked.

Shipped ones must come out as written; a layer's own too, or it is refused; shipped ones under a layer are told.
"""

import shutil
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from heartlevel import RuleFaults, Rules
from heartlevel.command.main import main
from heartlevel.resources import shipped
from heartlevel.ruling.files.patients.declared import ExpectBlock
from heartlevel.ruling.files.patients.reading import patients_below
from heartlevel.ruling.tools.formatting import block_of, formatted
from heartlevel.vignettes.judging import judged_patients, shipped_patients, unknown_names
from rules.laid import layer, refused
from support import rules

ENTRIES = shipped_patients()
JUDGED = judged_patients(rules(), ENTRIES)
# Nearer the limit than ours, and two readings: nothing else of it matters.
PATIENT = """
- who: A week at home just below our limit
  request:
    subject: {id: p-1, age_years: 58}
    options: {as_of: "2026-03-10", time_zone: Europe/Oslo}
  series:
    - {from: 2026-03-02, days: 7, at: {"07:10": [[132, 82], [131, 81]], "20:10": [[132, 82], [131, 81]]}}
  expect: {category: stage-1, averages: {home: [131.5, 81.5, 28]}, absent: [very-high]}
"""
LIMITS = "{home: {hypertension: {systolic: 135, diastolic: 85}}}"
CATEGORIES = (
    "{home: [{id: normal, title: Normal}, {id: elevated, title: Elevated, from: {systolic: 120}}, "
    "{id: hypertension, title: Hypertension, from: {systolic: 135, diastolic: 85}}]}"
)
HIGHER = f"{{of: guideline, id: acc-aha-2025, set: {{limits: {LIMITS}, categories: {CATEGORIES}}}, reason: Protocol 7}}"


@pytest.mark.parametrize("judged", JUDGED, ids=lambda judged: f"{judged.vignette.entry.origin.name}: {judged.vignette.who}")
def test_the_answer_is_the_careful_clinicians(judged):
    assert list(map(str, judged.faults())) == []


def test_every_shipped_patient_argues_its_expectation_with_a_source():
    assert len(ENTRIES) > 180
    assert all(entry.item["because"].strip() and entry.item["source"].strip() for entry in ENTRIES)
    assert list(unknown_names(rules().ruleset, ENTRIES)) == []


def test_everything_that_may_be_expected_is_expected_of_somebody():
    assert {name for entry in ENTRIES for name in entry.item["expect"]} == set(ExpectBlock().fields)


def test_patients_are_laid_out_as_rules_are():
    for path in (shipped("rules") / "patients").glob("*.yaml"):
        assert formatted(path.read_text("utf-8"), block_of(path)) == path.read_text("utf-8"), path.name


def with_patients(tmp_path: Path, text: str, *changes: str, **more: str) -> Path:
    folder = layer(tmp_path, *changes, **more)
    (folder / "patients").mkdir()
    (folder / "patients" / "ours.yaml").write_text(text)
    return folder


def expecting(**expect: object) -> str:
    (patient,) = yaml.safe_load(PATIENT)
    return yaml.safe_dump([{**patient, "expect": expect}])


# Each with the words that name the place within what is expected, what was expected, what came, and the near match.
OTHERWISE = {
    "another category": ({"category": "hypertension"}, "category: 'hypertension' was expected, 'stage-1' came"),
    "no category": ({"category": None}, "category: null was expected, 'stage-1' came"),
    "another pattern": ({"pattern": "sustained"}, "pattern: 'sustained' was expected, 'undetermined' came"),
    "urgent": ({"urgent": True}, "urgent: true was expected, false came"),
    "another level": ({"level": "now"}, "level: 'now' was expected, 'none' came"),
    "a finding": ({"findings": ["very-high"]}, "findings.0: 'very-high' was expected"),
    "none of a finding": ({"absent": ["home-pressure-raised"]}, "absent.0: no 'home-pressure-raised' was expected"),
    "words": ({"says": ["white-coat"]}, "says.0: 'white-coat' was expected"),
    "advice": ({"advises": ["ambulance"]}, "advises.0: 'ambulance' was expected"),
    "reliability": ({"reliability": {"r-1": "sound"}}, "reliability.r-1: 'sound' was expected"),
    "reliabilities": ({"reliabilities": {"sound": 28}}, "{'not-documented':28} came"),
    "another average": ({"averages": {"home": [131, 81.5, 28]}}, "[131,81.5,28] was expected, [131.5,81.5,28] came"),
    "no average": ({"averages": {"home": None}}, "averages.home: null was expected"),
    "a setting misspelt": ({"averages": {"hom": [1, 1, 1]}}, "(did you mean 'home'?)"),
    "a statement": ({"statements": ["good-week"]}, "statements.0: 'good-week' was expected"),
    "another first step": ({"first_step": "repeat-at-once"}, "first_step: 'repeat-at-once' was expected"),
    "a step": ({"next_steps": ["repeat-at-once"]}, "next_steps.0: 'repeat-at-once' was expected"),
    "none of a step": ({"not_next_steps": ["confirm-in-office"]}, "not_next_steps.0: no 'confirm-in-office' was expected"),
    "a problem": ({"problems": ["missing"]}, "problems: ['missing'] was expected, [] came"),
    "a part of the answer": ({"answer": {"coverage": {"days": 6}}}, "answer.coverage.days: 6 was expected, 7 came"),
    "a part misspelt": ({"answer": {"covrage": {"days": 7}}}, "no such field came (did you mean 'coverage'?)"),
    "a list of another length": ({"answer": {"periods": [{}]}}, "answer.periods: [{}] was expected, [] came"),
    "a rule that does not exist": ({"absent": ["very-hihg"]}, "'very-hihg' does not exist (did you mean 'very-high'?)"),
    "a step that does not exist": ({"next_steps": ["repeat-at-onc"]}, "does not exist (did you mean 'repeat-at-once'?)"),
}  # fmt: skip


@pytest.mark.parametrize("wrong", OTHERWISE)
def test_what_comes_otherwise_is_told_with_what_was_expected_and_what_came(wrong, tmp_path):
    expect, words = OTHERWISE[wrong]
    folder = with_patients(tmp_path, expecting(**expect))
    faults = patients_faults(folder)
    assert any(words in fault for fault in faults), faults
    assert all(fault.startswith("clinic/patients/ours.yaml:") for fault in faults)


def patients_faults(folder: Path) -> list[str]:
    read: list = []
    entries = patients_below(folder, read, layered=True)
    judged = judged_patients(rules(), entries)
    return list(map(str, [*read, *unknown_names(rules().ruleset, entries), *(f for j in judged for f in j.faults())]))


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("{id: p-1", "{ide: p-1", "'A week at home just below our limit': /subject"),
        ("Europe/Oslo", "Europe/Olso", ":5:36: refused-request"),
        ("days: 7", "dayz: 7", "unknown-key"),
        ("2026-03-02, days", "the second, days", "'the second' at '07:10' is no day"),
        ("[[132, 82], [131, 81]], \"20", "[132, 82], \"20", "a list of readings, each [systolic, diastolic]"),
        ("[132, 82]", "[1320, 82]", ":7:"),
        ("- who: A", "who: A", "not-yaml"),
    ],
)  # fmt: skip
def test_a_patient_that_is_no_request_is_told_at_its_place(before, after, words, tmp_path):
    folder = with_patients(tmp_path, PATIENT.replace(before, after, 1))
    try:
        faults = patients_faults(folder)
    except RuleFaults as raised:
        faults = list(map(str, raised.faults))
    assert any(words in fault for fault in faults), faults
    assert all(fault.startswith("clinic/patients/ours.yaml:") for fault in faults)


def test_a_layer_whose_own_patient_comes_out_otherwise_is_refused_at_its_line(tmp_path):
    folder = with_patients(tmp_path, PATIENT, HIGHER)
    (fault,) = refused(folder)
    assert fault.startswith("clinic/patients/ours.yaml:8:12: wrong-patient: ")
    assert fault.endswith("category: 'stage-1' was expected, 'elevated' came")


def test_patients_play_no_part_in_fingerprints(tmp_path):
    folder = with_patients(tmp_path, PATIENT.replace("stage-1", "elevated"), HIGHER)
    first = Rules.load(None, (folder,)).ruleset
    (folder / "patients" / "ours.yaml").unlink()
    second = Rules.load(None, (folder,)).ruleset
    assert (first.fingerprint, first.layers[0].fingerprint) == (second.fingerprint, second.layers[0].fingerprint)


def test_shipped_patients_whose_answer_a_layer_changes_are_told_and_the_layer_is_taken(tmp_path):
    folder = with_patients(tmp_path, PATIENT.replace("stage-1", "elevated"), HIGHER)
    result = CliRunner().invoke(main, ["rules", "test", str(folder)])
    assert result.exit_code == 0, result.output
    assert "1 patients: 1 as written, 0 not" in result.stdout
    wanted = "'Raised only in the office by European limits, in both by American ones' comes out otherwise: category: "
    assert wanted in result.stderr
    checked = CliRunner().invoke(main, ["rules", "check", str(folder)])
    assert checked.exit_code == 0, checked.output
    assert " 1 patients," in checked.stdout
    assert f"note: patients/patterns.yaml:95: {wanted}" in checked.stderr


def test_a_patient_whom_the_rules_below_answer_otherwise_already_is_no_change_of_the_layer(tmp_path):
    base = tmp_path / "rules"
    shutil.copytree(shipped("rules"), base, ignore=shutil.ignore_patterns("patients"))
    (base / "patients").mkdir()
    (base / "patients" / "theirs.yaml").write_text(PATIENT.replace("stage-1", "stage-2"))
    folder = with_patients(tmp_path, PATIENT)
    result = CliRunner().invoke(main, ["rules", "test", str(folder), "--rules", str(base)])
    assert (result.exit_code, result.stderr) == (0, "")
    checked = CliRunner().invoke(main, ["rules", "check", str(base)])
    assert checked.exit_code == 1
    assert "patients/theirs.yaml:8:12: wrong-patient: " in checked.stderr


def test_the_test_of_rules_shows_what_was_expected_and_what_came(tmp_path):
    result = CliRunner().invoke(main, ["rules", "test", str(with_patients(tmp_path, PATIENT, HIGHER))])
    assert result.exit_code == 1
    assert "clinic/patients/ours.yaml:8: A week at home just below our limit\n" in result.stdout
    assert "  - category: 'stage-1'\n  + category: 'elevated'\n" in result.stdout
    assert "1 patients: 0 as written, 1 not" in result.stdout
