"""Who changed what of the rules in force, and why, over HTTP and in the log."""

import logging
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from heartlevel.assessment import Rules
from heartlevel.resources import shipped
from heartlevel.ruling.language.ruleset import FilesRead
from heartlevel.web.application import create_app
from heartlevel.web.rules.reloading import changed_unrevised
from support import OWN_RULE, rules

LAYER = """name: Our clinic
id: clinic
revision: "REVISION"
changes:
  - {of: rule, id: legs-crossed, off: true, reason: Our chairs}
  - {of: rule, id: feet-not-flat, set: {severity: SEVERITY}, reason: Seen often}
  - {of: rule, id: recent-exercise, set: {parameters: {minutes: 45}}, reason: Local protocol 7}
"""


def write(folder: Path, revision: str, severity: str = "high") -> Path:
    (folder / "reading").mkdir(parents=True, exist_ok=True)
    (folder / "layer.yaml").write_text(LAYER.replace("REVISION", revision).replace("SEVERITY", severity))
    (folder / "reading" / "own.yaml").write_text(OWN_RULE)
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write(tmp_path / "clinic", "1")


@pytest.fixture
def app(folder):
    return create_app({"LAYERS": str(folder)}, Rules.load(None, (folder,)))


def served(client, path: str, status: int = 200) -> dict:
    """What a route answers, held against the contract."""
    response = client.get(path)
    assert response.status_code == status
    contract = client.get("/v1/openapi.json").get_json()
    declared = contract["paths"]["/v1/rules/{name}" if path.count("/") == 3 else path]["get"]["responses"][str(status)]
    ((_, content),) = declared["content"].items()
    body = response.get_json()
    Draft202012Validator({**content["schema"], "components": contract["components"]}).validate(body)
    return body


def test_a_parameter_names_who_set_it_what_it_was_and_why(client):
    told = served(client, "/v1/rules/recent-exercise")
    assert told["title"] == "Exercise within 45 minutes"
    (parameter,) = told["provenance"]["parameters"]
    assert parameter == {
        "name": "minutes", "value": 45, "unit": "min", "file": "clinic/layer.yaml", "line": 7, "layer": "clinic", "was": 30,
        "reason": "Local protocol 7",
    }  # fmt: skip


def test_a_rule_of_the_clinic_names_its_layer_file_and_line(client):
    told = served(client, "/v1/rules/pulse-fast-here")
    assert told["title"] == "Fast pulse"
    assert told["provenance"] == {
        "layer": "clinic",
        "file": "clinic/reading/own.yaml",
        "line": 2,
        "changes": [],
        "parameters": [],
    }


def test_a_changed_rule_says_who_changed_it_why_and_what_stood_there(client):
    told = served(client, "/v1/rules/feet-not-flat")
    before = next(rule.severity for rule in rules().ruleset.every_rule() if rule.id == "feet-not-flat")
    (change,) = told["provenance"]["changes"]
    assert told["severity"] == "high" != before
    assert told["provenance"]["layer"] is None
    assert told["provenance"]["file"] == "reading/posture.yaml"
    assert change == {"layer": "clinic", "file": "clinic/layer.yaml", "line": 6, "reason": "Seen often", "off": False,
                      "replaced": {"severity": before}}  # fmt: skip


def test_a_silenced_rule_says_who_silenced_it_and_what_it_was(client):
    told = served(client, "/v1/rules/legs-crossed", 410)
    assert told["detail"] == "the layer clinic switched it off: Our chairs"
    assert (told["silenced"]["line"], told["silenced"]["replaced"]["title"]) == (5, "Legs crossed")
    assert client.get("/v1/rules/no-such-rule").status_code == 404


def test_the_list_of_rules_has_layers_and_what_is_silent(client):
    told = served(client, "/v1/rules")
    assert [layer["id"] for layer in told["layers"]] == ["clinic"]
    assert [rule["id"] for rule in told["silenced"]] == ["legs-crossed"]
    assert {rule["provenance"]["layer"] for rule in told["rules"]} == {None, "clinic"}


def test_the_list_of_rules_has_the_languages_and_which_of_them_want_reading(client):
    told = served(client, "/v1/rules")["languages"]
    assert [(one["language"], one["name"], one["wants_reading"]) for one in told] == [
        ("en", "English", False), ("de", "Deutsch", True), ("es", "español", True),
    ]  # fmt: skip


def test_start_and_reload_log_every_layer_with_revision_and_fingerprint(folder, caplog):
    caplog.set_level(logging.INFO, "heartlevel")
    app = create_app({"LAYERS": str(folder)}, Rules.load(None, (folder,)))
    (layer,) = app.extensions["heartlevel"].current.ruleset.layers
    assert f"rules loaded: layer 1 clinic, revision 1, {layer.fingerprint}" in caplog.text
    write(folder, "2", "moderate")
    for _ in range(2):
        app.extensions["heartlevel"].look()
    assert "rules taken over: layer 1 clinic, revision 2, sha256:" in caplog.text


def test_content_changed_under_an_unchanged_revision_is_refused(app, client, folder):
    before = client.get("/ready").get_json()["rules"]
    write(folder, "1", "moderate")
    for _ in range(2):
        app.extensions["heartlevel"].look()
    ready = client.get("/ready").get_json()
    assert ready["rules"] == before
    assert "the layer clinic has other content under the same revision 1" in ready["refused"][0]
    write(folder, "2", "moderate")
    for _ in range(2):
        app.extensions["heartlevel"].look()
    ready = client.get("/ready").get_json()
    assert (ready["refused"], ready["rules"]["layers"][0]["revision"]) == ([], "2")


def look(app) -> None:
    app.extensions["heartlevel"].look()
    app.extensions["heartlevel"].look()


def test_a_file_that_is_gone_is_told_with_its_rules_and_needs_a_new_revision(app, client, folder, caplog):
    before = client.get("/ready").get_json()["rules"]
    (folder / "reading" / "own.yaml").unlink()
    look(app)
    ready = client.get("/ready").get_json()
    told = "the file clinic/reading/own.yaml is gone, and with it pulse-fast-here"
    assert ready["rules"] == before
    assert ready["refused"][1:] == [told]
    layer = folder / "layer.yaml"
    layer.write_text(layer.read_text().replace('revision: "1"', 'revision: "2"'))
    caplog.clear()
    look(app)
    assert (client.get("/ready").get_json()["refused"], f"rules taken over: {told}" in caplog.text) == ([], True)
    assert client.get("/v1/rules/pulse-fast-here").status_code == 404


def test_rules_that_moved_to_another_file_are_not_said_to_be_gone(app, client, folder, caplog):
    (folder / "reading" / "own.yaml").rename(folder / "reading" / "moved.yml")
    look(app)
    assert client.get("/ready").get_json()["refused"] == []
    assert "the file clinic/reading/own.yaml is gone, and what it held stands elsewhere" in caplog.text


def test_the_rules_below_keep_to_it_too(tmp_path):
    copied = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    file = copied / "reading" / "posture.yaml"
    file.write_text(file.read_text().replace("severity: low", "severity: high", 1))
    (said,) = changed_unrevised(rules().ruleset, Rules.load(copied).ruleset)
    assert "the rules have other content under the same revision" in said
    assert list(changed_unrevised(rules().ruleset, rules().ruleset)) == []
    without = replace(rules().ruleset, base_fingerprint="other", base_files=FilesRead())
    told = list(changed_unrevised(rules().ruleset, without))
    assert any(line.startswith("the file sitting/inflation.yaml is gone, and with it ") for line in told)


def test_a_trial_puts_a_layer_in_the_place_of_the_one_in_force(client):
    crossed = {"subject": {"id": "s"}, "readings": [
        {"taken_at": "2026-03-01T08:00:00Z", "systolic": 120, "diastolic": 70, "setting": "home",
         "technique": {"legs_crossed": True}}]}  # fmt: skip
    edited = LAYER.replace("REVISION", "2").replace("SEVERITY", "low").replace("  - {of: rule, id: legs-crossed", "#")
    sent = {"files": {"layer.yaml": edited}, "requests": [crossed]}
    answer = client.post("/v1/rules/trial", json=sent).get_json()
    assert answer["totals"]["findings_gained"]["legs-crossed"] == 1
    assert client.get("/v1/rules/legs-crossed").status_code == 410  # nothing of it is in force
