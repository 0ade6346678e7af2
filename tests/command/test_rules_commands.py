"""`heartlevel rules check`, `diff` and `try`, as an administrator calls them."""

import json
import shutil
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.resources import shipped
from heartlevel.ruling.tools.analysis import analyse
from heartlevel.vocabulary import SCOPES
from support import OWN_RULE, rules, week, without_worded_rules

BETWEEN = week(pressures=[(128, 76), (126, 75)])  # between the limit in force and the clinic's
CHANGES = """name: Clinic
revision: "1"
changes:
  - of: guideline
    id: acc-aha-2025
    set:
      limits: {home: {hypertension: {systolic: 125}}}
      categories:
        home: [{id: normal, title: Normal}, {id: raised, title: Hypertension, from: {systolic: 125, diastolic: 80}}]
    reason: Local protocol
"""


@pytest.fixture
def layer(tmp_path: Path) -> Path:
    folder = tmp_path / "clinic"
    folder.mkdir()
    (folder / "layer.yaml").write_text(CHANGES)
    return folder


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(shipped("rules"), tmp_path / "rules", ignore=shutil.ignore_patterns("patients")))


@pytest.fixture(autouse=True, scope="module")
def a_rule_set_is_analysed_once():
    """Trying every combination of facts takes some ten seconds, and several of these tests ask for the same."""
    known: dict[str, list] = {}

    def analysed(ruleset):
        if ruleset.fingerprint not in known:
            known[ruleset.fingerprint] = analyse(ruleset)
        return known[ruleset.fingerprint]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("heartlevel.command.rules.analyse.analyse", analysed)
        yield analysed


@pytest.fixture
def few_rules(copied: Path, monkeypatch) -> None:
    """The shipped rules about readings alone are in force: to analyse all takes ten seconds."""
    for scope in set(SCOPES) - {"reading"}:
        shutil.rmtree(copied / scope)
    without_worded_rules(copied)
    monkeypatch.setenv("HEARTLEVEL_RULES", str(copied))


@pytest.fixture
def layer_with_a_rule(layer: Path, few_rules) -> Path:
    (layer / "reading").mkdir()
    (layer / "reading" / "own.yaml").write_text(OWN_RULE.replace("above: 100", "above: 140").replace(": 101", ": 141"))
    return layer


def run(*arguments, given: str | None = None):
    return CliRunner().invoke(main, ["rules", *map(str, arguments)], input=given)


def test_good_rules_are_counted_and_fingerprinted(copied):
    result = run("check", copied)
    assert result.exit_code == 0
    assert "178 rules, " in result.stdout and "sha256:" in result.stdout


def test_every_mistake_is_printed_with_its_place_and_cure(copied):
    for name, old, new in [("posture", "legs_crossed:", "legs_crosed:"), ("entry", "severity: high", "severity: hihg")]:
        file = copied / "reading" / f"{name}.yaml"
        assert old in file.read_text()
        file.write_text(file.read_text().replace(old, new, 1))
    result = run("check", copied)
    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert len(lines) % 2 == 0
    assert any("reading/posture.yaml:" in line and "did you mean 'legs_crossed'?" in line for line in lines)
    assert any("reading/entry.yaml:" in line and "did you mean 'high'?" in line for line in lines)
    assert "    Take one of the names listed." in lines[1::2]
    assert lines[-1] == "    Take a fact of the rule's scope from the list of facts."


def test_a_layer_is_checked_over_the_rules(layer):
    assert run("check", layer).exit_code == 0
    (layer / "layer.yaml").write_text(CHANGES.replace("acc-aha-2025", "acc-aha-2052"))
    result = run("check", layer)
    assert result.exit_code == 1
    assert "clinic/layer.yaml:5:" in result.stderr and "did you mean 'acc-aha-2025'?" in result.stderr


def test_what_a_layer_changes_is_shown_with_its_reason(layer):
    result = run("diff", layer)
    lines = result.stdout.splitlines()
    assert lines[:2] == ["changed guideline acc-aha-2025", "    limits.home.hypertension.systolic: 130 -> 125"]
    removed = [line.split(":")[0].strip() for line in lines if line.endswith("-> nothing")]
    assert removed == [f"categories.home.{name}" for name in ("elevated", "stage-1", "stage-2")]
    assert lines[5:] == [
        "    categories.home.raised: nothing -> {id: raised, title: Hypertension, from: {systolic: 125, diastolic: 80}}",
        "    reason: Local protocol (Clinic)", "1 difference",
    ]  # fmt: skip
    assert run("diff").exit_code == 2


def test_of_a_list_only_the_items_that_differ_are_shown(copied):
    file = copied / "guidelines" / "acc-aha-2025.yaml"
    data = yaml.safe_load(file.read_text())
    data["sources"].append({"cite": "Local protocol", "standing": "common-practice"})
    data["correspondence"].reverse()
    data["categories"]["home"][-1]["from"]["diastolic"] = 86
    file.write_text(yaml.safe_dump(data))
    lines = run("diff", copied).stdout.splitlines()
    assert lines[0] == "changed guideline acc-aha-2025"
    assert set(lines[1:4]) >= {
        "    sources: nothing -> {cite: Local protocol, standing: common-practice}",
        "    categories.home.stage-2.from.diastolic: 85 -> 86",
    }
    assert [line.partition(":")[0] for line in lines[1:] if "order" in line] == ["    correspondence (order)"]
    assert len(lines) == 5


def test_a_candidate_is_tried_on_requests(layer, tmp_path):
    requests = tmp_path / "requests.ndjson"
    requests.write_text("\n".join(map(json.dumps, [BETWEEN, week(pressures=[(118, 76), (116, 75)]), {"subject": 1}])))
    result = run("try", layer, "--on", requests)
    assert result.exit_code == 0
    assert result.stdout.startswith("s-1 (line 1)\n    findings: gained home-pressure-raised")
    assert "1 of 3 subjects would change" in result.stdout
    assert "line 2" not in result.stdout


def test_a_trial_can_be_read_by_a_program(layer):
    lines = run("try", layer, "--on", "-", "--json", given=json.dumps(BETWEEN)).stdout.splitlines()
    change, totals = map(json.loads, lines)
    assert (change["subject"], totals["subjects"], totals["changed"]) == ("s-1", 1, 1)
    assert totals["findings_gained"] == dict.fromkeys(change["findings"]["gained"], 1)


def test_the_same_rules_change_nothing(copied):
    result = run("try", copied, "--on", "-", given=json.dumps(BETWEEN))
    assert result.stdout == "0 of 1 subjects would change\n"


def test_a_layer_in_force_is_not_laid_over_itself(layer, monkeypatch):
    monkeypatch.setenv("HEARTLEVEL_LAYERS", str(layer))
    assert run("check", layer).exit_code == 0


@pytest.mark.parametrize("command", ["test", pytest.param("analyse", marks=pytest.mark.no_cover), "list"])
def test_commands_take_a_layer_as_they_take_rules(layer_with_a_rule, command):
    result = run(command, layer_with_a_rule)
    assert (result.exit_code, result.stderr) == (0, "")


def test_nothing_in_the_shipped_rules_needs_correcting_and_everything_is_decided(a_rule_set_is_analysed_once):
    result = run("analyse")
    assert (result.exit_code, result.stderr) == (0, "")
    assert ": 0 to correct, " in result.stdout and ", 0 not decided" in result.stdout
    assert {claim.kind for claim in a_rule_set_is_analysed_once(rules().ruleset)} == {"implied"}


def test_of_a_layer_only_what_it_brings_is_analysed_at_length(layer_with_a_rule):
    paragraphs = run("analyse", layer_with_a_rule).stdout.split("\n\n")
    alone = run("analyse").stdout.split("\n\n")
    assert len(paragraphs) < len(alone)
    assert f"{len(alone) - 1} as below the layer" in paragraphs[-1]


def test_rules_are_listed_and_found_by_the_fact_they_compare():
    lines = run("list", "--fact", "legs_crossed").stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["legs-crossed"]
    assert len(run("list").stdout.splitlines()) > 90


def test_a_rule_can_be_explained_by_its_title_and_a_silenced_one_says_who_silenced_it(layer):
    assert run("explain", "Legs crossed").stdout == run("explain", "legs-crossed").stdout
    (layer / "layer.yaml").write_text(CHANGES + "  - {of: rule, id: legs-crossed, off: true, reason: Our chairs}\n")
    assert "switched off by Clinic: Our chairs" in run("explain", "legs-crossed", "--layer", layer).stderr


def revised(folder: Path, *changes: str, more: str = "") -> Path:
    """Another working copy of a layer."""
    folder.mkdir(parents=True)
    listed = "".join(f"  - {change}\n" for change in changes)
    (folder / "layer.yaml").write_text(f'name: Clinic\nid: clinic\nrevision: "2"\n{more}changes:\n{listed}')
    return folder


STRICTER = "{of: rule, id: legs-crossed, set: {severity: high}, reason: Seen often}"
CROSSED = week(technique={"legs_crossed": True})


def test_a_second_edit_and_a_roll_back_take_the_place_of_the_layer_in_force(tmp_path):
    in_force = revised(tmp_path / "live" / "clinic", "{of: rule, id: legs-crossed, off: true, reason: Our chairs}")
    other = revised(tmp_path / "edit" / "other-name", STRICTER)
    on = tmp_path / "requests.json"
    on.write_text(json.dumps(CROSSED))
    told = run("try", other, "--on", on, "--layer", in_force).stdout
    assert "1 of 1 subjects would change" in told and "gained legs-crossed" in told
    assert "legs-crossed" in run("diff", other, "--layer", in_force).stdout
    assert "added rule legs-crossed" in run("diff", other, "--layer", in_force).stdout
    back = run("try", in_force, "--on", on, "--layer", other).stdout
    assert "1 of 1 subjects would change" in back and "lost legs-crossed" in back


def test_a_layer_keeps_its_place_among_those_above_it(tmp_path):
    low = revised(tmp_path / "a" / "clinic", STRICTER)
    ward = revised(tmp_path / "b" / "ward", "{of: rule, id: legs-crossed, set: {severity: low}, reason: x}")
    (ward / "layer.yaml").write_text((ward / "layer.yaml").read_text().replace("Clinic\nid: clinic", "Ward\nid: ward"))
    edit = revised(tmp_path / "c" / "clinic", STRICTER.replace("high", "moderate"))
    told = run("diff", edit, "--layer", low, "--layer", ward).stdout
    assert "severity" not in told and "no difference" in told  # the ward's severity still lies over it


def test_a_check_prints_the_fingerprint_that_a_layer_above_may_need(tmp_path):
    low = revised(tmp_path / "a" / "clinic", STRICTER)
    line = run("check", low).stdout.splitlines()[-1]
    assert line.startswith("layer clinic, revision 2: sha256:")
    fingerprint = line.rpartition(" ")[2]

    def ward(number: int, wanted: str) -> Path:
        need = f"needs: [{{id: clinic, fingerprint: '{wanted}'}}]\n"
        top = revised(tmp_path / str(number) / "ward", STRICTER, more=need)
        (top / "layer.yaml").write_text((top / "layer.yaml").read_text().replace("Clinic\nid: clinic", "Ward\nid: ward"))
        return top

    assert run("check", ward(1, fingerprint), "--layer", low).exit_code == 0
    alone, other = run("check", ward(2, fingerprint)), run("check", ward(3, "sha256:0"), "--layer", low)
    assert "ward/layer.yaml:4:" in alone.stderr and "unmet-need: the layer 'clinic' does not lie below" in alone.stderr
    assert f"unmet-need: 'clinic' (revision 2) has the fingerprint {fingerprint}" in other.stderr


PARAMETER = """name: Clinic
revision: "1"
changes:
  - {of: rule, id: recent-exercise, set: {parameters: {minutes: 45}}, reason: Local protocol 7}
  - of: wording
    id: es
    set: {rules: {recent-exercise: {patient: "Espere {param:minutes} minutos, al menos 30 minutos."}}}
    reason: Plainer
"""


@pytest.fixture
def layer_with_a_parameter(layer: Path) -> Path:
    (layer / "layer.yaml").write_text(PARAMETER)
    return layer


def test_a_number_in_a_text_that_tells_another_threshold_is_a_warning_with_its_cure(layer_with_a_parameter):
    result = CliRunner().invoke(main, ["rules", "check", str(layer_with_a_parameter)])
    assert result.exit_code == 0
    (warning,) = (line for line in result.stderr.splitlines() if line.startswith("warning: "))
    assert warning.startswith("warning: clinic/layer.yaml:7:")
    assert "other-number: the text tells 30 as a bound, and 'recent-exercise' compares with 45" in warning
    assert "\n    Correct the number" in result.stderr


def test_parameters_are_listed_and_explained_with_who_set_them(layer_with_a_parameter):
    line = "minutes = 45 min (clinic/layer.yaml:4); clinic set it, below it was 30: Local protocol 7"
    listed = CliRunner().invoke(main, ["rules", "list", str(layer_with_a_parameter), "--parameters"]).stdout
    assert f"    {line}\n" in listed
    assert "legs-crossed" not in listed
    explained = (
        CliRunner().invoke(main, ["rules", "explain", "recent-exercise", "--layer", str(layer_with_a_parameter)]).stdout
    )
    assert f"Parameters\n  {line}\n" in explained
    assert "minutes_since_exercise is below 45 min (parameter minutes)" in explained
