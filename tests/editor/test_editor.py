"""What an editor shows of rule files, asked of a real YAML language server: marks, completion, hover.

It needs Node.js with npm, and sets itself up where they are; where there is none, what asks the server is skipped, with
that as the reason.
"""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from editor.language_server import Editor, editing
from heartlevel.command.main import main
from heartlevel.resources import shipped
from heartlevel.ruling.files.directories.listing import listing_of
from heartlevel.ruling.tools.editors import patterns_of, schemas_of_files
from own_layer import FACTS, RULES, own_layer
from support import OWN_RULE, rules

WITHOUT_NODE = "there is no Node.js with npm on this machine, which a YAML language server needs"
needs_node = pytest.mark.skipif(not (shutil.which("node") and shutil.which("npm")), reason=WITHOUT_NODE)

GOOD = """name: Clinic
revision: "1"
changes:
  - of: rule
    id: legs-crossed
    set: {severity: high}
    reason: Seen often
  - of: rule
    id: our-own-below
    off: true
    reason: Not here
  - of: guideline
    id: acc-aha-2025
    set:
      limits: {home: {hypertension: {systolic: 135}}}
    reason: Local protocol
  - of: ruleset
    set: {default_guideline: esc-2024}
    reason: Local protocol
"""
# By what is written in place of what, and what is marked in the line of it.
BAD = {
    "a value of a rule's field": ("severity: high", "severity: grave", 'Valid values: "high", "moderate", "low"'),
    "a field that no rule has": ("severity: high", "severety: high", "Property severety is not allowed"),
    "a guideline's field of a rule": ("severity: high", "limits: {}", "Property limits is not allowed"),
    "a text for a limit": ("systolic: 135", "systolic: soon", 'Expected "number"'),
    "a rule's field of a guideline": ("limits: {home", "severity: high #", "Property severity is not allowed"),
    "an id of the rule set": ("of: ruleset", "of: ruleset\n    id: x", 'Expected "null"'),
}


@pytest.fixture(scope="module")
def clinic(tmp_path_factory) -> Path:
    """A layer's directory, with the settings that the command writes for editors."""
    folder = tmp_path_factory.mktemp("editor") / "clinic"
    (folder / "reading").mkdir(parents=True)
    done = CliRunner().invoke(main, ["rules", "editor", str(folder)])
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture(scope="module")
def server(clinic) -> Iterator[Editor]:
    settings = json.loads((clinic / ".vscode" / "settings.json").read_text())
    with editing(clinic, settings["yaml.schemas"]) as opened:
        yield opened


@needs_node
def test_a_language_server_can_be_asked(server, clinic):
    assert server.marks(clinic / "layer.yaml", GOOD) == []


@needs_node
@pytest.mark.parametrize("mistake", BAD)
def test_a_mistake_in_a_layer_is_marked_in_its_line(server, clinic, mistake):
    before, after, message = BAD[mistake]
    assert GOOD.count(before) == 1
    line = GOOD[: GOOD.index(before)].count("\n") + 1 + after.count("\n")
    marks = server.marks(clinic / "layer.yaml", GOOD.replace(before, after))
    assert any(at == line and message in words for at, words in marks), marks


@needs_node
def test_ids_are_completed_by_what_is_changed(server, clinic):
    every = {rule.id for rule in rules().ruleset.every_rule()}
    for kind, known in (("rule", every), ("guideline", set(rules().ruleset.guidelines)), ("wording", {"en", "es"})):
        text = f'name: C\nrevision: "1"\nchanges:\n  - of: {kind}\n    id: \n    reason: x\n'
        server.marks(clinic / "layer.yaml", text)
        assert set(server.completed(clinic / "layer.yaml", 5, 9)) >= known


@needs_node
def test_what_may_be_set_is_completed_by_what_is_changed(server, clinic):
    text = 'name: C\nrevision: "1"\nchanges:\n  - of: {}\n    id: {}\n    set:\n      x\n    reason: y\n'
    for kind, name, known, unknown in (
        ("rule", "legs-crossed", "severity", "limits"),
        ("guideline", "esc-2024", "limits", "severity"),
        ("protocol", "aha-2008", "sitting_gap_minutes", "limits"),
    ):
        server.marks(clinic / "layer.yaml", text.format(kind, name))
        offered = server.completed(clinic / "layer.yaml", 7, 8)
        assert known in offered
        assert not {unknown, "default_guideline", "id"} & set(offered)


@needs_node
def test_a_rule_of_a_clinics_own_is_checked_completed_and_explained(server, clinic):
    path = clinic / "reading" / "own.yml"
    text = OWN_RULE.lstrip()
    assert server.marks(path, text) == []
    assert "pulse rate, /min" in server.hovered(path, 3, 11)
    assert any("Property" in words for _, words in server.marks(path, text.replace("{pulse: {above", "{home_days: {above")))
    server.marks(path, text.replace("{pulse: {above: 100}}", "{finding: }"))
    assert "legs-crossed" in server.completed(path, 3, 19)
    assert "home-values-rounded" not in server.completed(path, 3, 19)  # of another scope


@needs_node
@pytest.mark.parametrize("file", ["reading/posture.yaml", "guidelines/esc-2024.yaml", "wording/es.yaml", "urgency.yaml"])
def test_shipped_files_are_marked_nowhere(server, clinic, file):
    assert server.marks(clinic / file, (shipped("rules") / file).read_text()) == []


@needs_node
def test_a_first_line_finds_the_schema_where_no_settings_do(server, clinic):
    printed = CliRunner().invoke(main, ["rules", "editor", str(clinic)]).stdout.splitlines()
    line = next(line.split(maxsplit=1)[1] for line in printed if line.startswith("layer:"))
    path = clinic / "elsewhere.txt.yaml"
    assert server.marks(path, "nothing: 1\n") == []
    assert server.marks(path, f"{line}\nnothing: 1\n") != []


def test_other_settings_stay_and_what_is_no_plain_json_is_left_alone(tmp_path):
    settings = tmp_path / ".vscode" / "settings.json"
    settings.parent.mkdir()
    settings.write_text('{"editor.rulers": [120], "yaml.schemas": {"a.json": ["b.yaml"]}}')
    assert CliRunner().invoke(main, ["rules", "editor", str(tmp_path)]).exit_code == 0
    written = json.loads(settings.read_text())
    assert (written["editor.rulers"], written["yaml.schemas"]["a.json"]) == ([120], ["b.yaml"])
    assert all(Path(schema.removeprefix("file://")).is_file() for schema in written["yaml.schemas"] if schema != "a.json")
    settings.write_text("// mine\n{}")
    refused = CliRunner().invoke(main, ["rules", "editor", str(tmp_path)])
    assert (refused.exit_code, settings.read_text()) == (1, "// mine\n{}")
    assert "layer.schema.json" in refused.stderr


def test_a_layers_own_facts_are_known_though_its_files_are_at_fault(tmp_path):
    layer = own_layer(tmp_path, rules=RULES.replace("severity: moderate", "severity: grave", 1))
    schemas = {}
    for facts in ("", FACTS):  # the second time in place of the first
        (layer / "facts" / "ours.yaml").write_text(facts or "[]")
        assert CliRunner().invoke(main, ["rules", "editor", str(layer)]).exit_code == 0
        written = json.loads((layer / ".vscode" / "settings.json").read_text())["yaml.schemas"]
        assert sorted(written.values()) == sorted(patterns_of(kind) for kind in schemas_of_files())
        schemas[bool(facts)] = next(Path(name.removeprefix("file://")) for name in written if "/reading." in name)
    assert schemas[False] == schemas_of_files()["reading"]
    whole = json.loads((schemas[True].parent / ".." / "rule-files.schema.json").read_text())
    pointer = json.loads(schemas[True].read_text())["$ref"].partition("#")[2]
    rules_of_reading = Draft202012Validator({"$ref": f"#{pointer}", "$defs": whole["$defs"]})
    rules_of_reading.validate(yaml.safe_load(RULES))
    assert listing_of(layer).files.keys() == {"facts/ours.yaml", "layer.yaml", "reading/ours.yaml"}


def test_the_projects_own_settings_name_schemas_and_files_that_are_there():
    top = shipped("rules").parent
    named = json.loads((top / ".vscode" / "settings.json").read_text())["yaml.schemas"]
    assert all((top / schema).is_file() for schema in named)
    reached = {path for patterns in named.values() for pattern in patterns for path in top.glob(pattern)}
    assert reached == set(shipped("rules").rglob("*.yaml"))
