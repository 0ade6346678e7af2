"""Facts that a layer declares: every mistake in them is named with its place, and what lies over them knows them."""

import json
import re
from pathlib import Path
from textwrap import dedent

import pytest
import yaml
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.bundles.bundling import Approval, packed
from heartlevel.command.main import main
from heartlevel.command.rules import explain as explaining
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.tools.difference import differences
from own_layer import AFTER_BATH, BATH, FACTS, RULES, SOURCES, own_layer, own_rules, rule
from support import rules


def faults_of(*folders: Path) -> list[RuleFault]:
    with pytest.raises(RuleFaults) as caught:
        Rules.load(None, folders)
    return caught.value.faults


def declared(**parts: str) -> str:
    """A file with the bath, one part of it written otherwise; `None` leaves it out."""
    written = {"name": "after_hot_bath", "recorded_with": "reading", "kind": "flag", "meaning": "after a bath",
               "sources": SOURCES} | parts  # fmt: skip
    return "- " + "\n  ".join(f"{key}: {value}" for key, value in written.items() if value is not None) + "\n"


NUMBER = {"kind": "number", "unit": "Cel", "range": "[5, 40]"}
CHOICE = {"kind": "choice", "values": "[none, shirt]"}
MISTAKES = {
    # written: code, line and column, what the detail or the hint says
    "name of a shipped fact": ({"name": "talking"}, "taken-name", (1, 3), "a shipped fact of scope reading"),
    "name of a derived fact": ({"name": "pulse_pressure"}, "taken-name", (1, 3), "Pulse pressure"),
    "name of a column": ({"name": "symptom_bits"}, "taken-name", (1, 3), "another meaning"),
    "name of a field": ({"name": "symptoms", "recorded_with": "subject"}, "taken-name", (1, 3), "a field of a subject"),
    "word of conditions": ({"name": "finding"}, "taken-name", (1, 3), "another meaning"),
    "no name for a fact": ({"name": "after-hot-bath"}, "not-a-fact-name", (1, 3), "underscores"),
    "no kind there is": ({"kind": "flagg"}, "not-one-of", (3, 3), "did you mean 'flag'?"),
    "recorded with nothing": ({"recorded_with": "readings"}, "not-one-of", (2, 3), "did you mean 'reading'?"),
    "blank meaning": ({"meaning": '" "'}, "text-length", (4, 3), "blank"),
    "no meaning": ({"meaning": None}, "missing", (1, 3), "meaning"),
    "no source": ({"sources": "[]"}, "too-few", (5, 3), "at least 1"),
    "source left out": ({"sources": None}, "missing", (1, 3), "sources"),
    "unit that is none": (NUMBER | {"unit": "celsius"}, "not-a-unit", (6, 3), "did you mean 'Cel'?"),
    "unit in words": (NUMBER | {"unit": '"mm of water"'}, "not-a-unit", (6, 3), "no unit of UCUM"),
    "number without unit": (NUMBER | {"unit": None}, "missing", (3, 3), "unit: required of a number"),
    "number without range": (NUMBER | {"range": None}, "missing", (3, 3), "`range: [5, 40]`"),
    "range backwards": (NUMBER | {"range": "[40, 5]"}, "limits-order", (7, 3), "the lowest, 40, is not below"),
    "range of one": (NUMBER | {"range": "[5]"}, "too-few", (7, 3), "at least 2"),
    "choice without values": (CHOICE | {"values": None}, "missing", (3, 3), "values: required of a choice"),
    "choice of one": (CHOICE | {"values": "[none]"}, "too-few", (6, 3), "at least 2"),
    "values read alike": (CHOICE | {"values": "[thick-sleeve, thicksleeve]"}, "wrong-value", (6, 12), "is read as"),
    "value twice": (CHOICE | {"values": "[none, shirt, none]"}, "wrong-value", (6, 12), "'none' is read as 'none'"),
    "flag with a unit": ({"unit": "Cel"}, "wrong-value", (6, 3), "what has one is a number"),
    "flag with values": ({"values": "[one, two]"}, "wrong-value", (6, 3), "what has one is a choice"),
    "unknown field": ({"recorded_wiht": "reading"}, "unknown-key", (6, 3), "recorded_with"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_a_declaration_is_named_with_its_place(tmp_path, mistake):
    parts, code, place, says = MISTAKES[mistake]
    found = faults_of(own_layer(tmp_path, declared(**parts), ""))
    assert [(fault.file, fault.code) for fault in found] == [("clinic/facts/ours.yaml", code)], found
    (fault,) = found
    assert (fault.line, min(fault.column, place[1])) == place
    assert says in f"{fault.detail} {fault.hint}" and fault.cure


def test_all_mistakes_are_named_at_once_and_what_speaks_of_them_is_no_second_one(tmp_path):
    wrong = declared(kind="flagg") + declared(name="room", **{**NUMBER, "unit": "celsius"})
    ours = AFTER_BATH + rule("cold-hall", "{room: {below: 18}}", "{room: 6}", "{room: 18}")
    found = faults_of(own_layer(tmp_path, wrong, ours))
    assert [(fault.file, fault.code) for fault in found] == [
        ("clinic/facts/ours.yaml", "not-one-of"),
        ("clinic/facts/ours.yaml", "not-a-unit"),
    ]


@pytest.mark.parametrize(
    ("condition", "code", "says"),
    [("{room_temperatur: {below: 18}}", "unknown-fact", "did you mean 'room_temperature'?"),
     ("{room_temperature: {below: 4}}", "out-of-range", "recorded from 5 to 40 Cel"),
     ("{room_temperature: {below: {limit: severe.systolic}}}", "wrong-value", "in Cel, the limit"),
     ("{garment_under_cuff: {equals: shrt}}", "wrong-value", "did you mean 'shirt'?"),
     ("{garment_under_cuff: {above: 1}}", "wrong-operator", "is a choice"),
     ("{after_hot_bath: {equals: 1}}", "wrong-value", "is a flag")],
)  # fmt: skip
def test_a_comparison_is_checked_by_what_the_fact_declares(tmp_path, condition, code, says):
    ours = rule("ours", condition, "{after_hot_bath: true}", "{after_hot_bath: false}")
    (fault,) = faults_of(own_layer(tmp_path, rules=ours))
    assert (fault.code, fault.file) == (code, "clinic/reading/ours.yaml")
    assert says in f"{fault.detail} {fault.hint}"


def test_a_fact_of_a_reading_is_none_of_a_series(tmp_path):
    folder = own_layer(tmp_path, rules="")
    (folder / "series").mkdir()
    (folder / "series" / "ours.yaml").write_text(AFTER_BATH.replace("scope: reading", "scope: series").replace(
        "effect: doubtful", "effect: none"))  # fmt: skip
    found = faults_of(folder)
    assert "'after_hot_bath' is a fact of scope reading" in {fault.detail for fault in found}


def test_two_layers_may_declare_a_fact_alike_and_not_otherwise(tmp_path):
    region, clinic = own_layer(tmp_path, BATH, "", name="region"), own_layer(tmp_path, FACTS, RULES)
    assert load(None, (region, clinic)).own_facts == own_rules().ruleset.own_facts
    (clinic / "facts" / "ours.yaml").write_text(FACTS.replace("half an hour", "an hour"))
    (fault,) = faults_of(region, clinic)
    assert (fault.code, fault.file, fault.line) == ("repeated-id", "clinic/facts/ours.yaml", 2)
    assert "is declared in region/facts/ours.yaml:2 already" in fault.detail


def test_a_layer_above_changes_what_a_fact_may_be(tmp_path):
    region = own_layer(tmp_path, name="region")
    change = "changes: [{of: fact, id: room_temperature, set: {range: [0, 45]}, reason: An unheated hall}]\n"
    laid = load(None, (region, own_layer(tmp_path, "", "", change)))
    (before, after) = (next(fact for fact in rules.own_facts if fact.name == "room_temperature") for rules in (
        own_rules().ruleset, laid))  # fmt: skip
    assert [(before.low, before.high), (after.low, after.high)] == [(5, 40), (0, 45)]
    (region / "facts" / "ours.yaml").write_text(FACTS)
    renamed = "changes: [{of: fact, id: room_temperature, set: {name: room}, reason: x}]\n"
    found = faults_of(region, own_layer(tmp_path / "other", "", "", renamed))
    assert [fault.code for fault in found][:1] == ["wrong-change"]


def test_a_fact_that_a_rule_speaks_of_is_not_taken_away(tmp_path):
    region = own_layer(tmp_path, name="region")
    off = "changes: [{of: fact, id: room_temperature, off: true, reason: No thermometer}]\n"
    found = faults_of(region, own_layer(tmp_path, "", "", off))
    told = [(fault.detail, fault.file) for fault in found if fault.code == "still-mentioned"]
    assert told == [
        ("'cold-room' speaks of 'room_temperature'", "clinic/layer.yaml"),
        ("'over-a-sleeve' speaks of 'room_temperature'", "clinic/layer.yaml"),
    ] or told == [
        ("'over-a-sleeve' speaks of 'room_temperature'", "clinic/layer.yaml"),
        ("'cold-room' speaks of 'room_temperature'", "clinic/layer.yaml"),
    ]
    (region / "facts" / "ours.yaml").write_text(BATH)
    gone = {(fault.code, fault.detail) for fault in faults_of(region)}
    assert ("unknown-fact", "'room_temperature' is no fact") in gone
    assert ("unknown-placeholder", "'{room_temperature}' is no fact of this scope and no limit") in gone


def test_a_fact_that_nothing_speaks_of_can_be_taken_away(tmp_path):
    off = "changes: [{of: fact, id: after_hot_bath, off: true, reason: Nobody bathes}]\n"
    region = own_layer(tmp_path, BATH, "", name="region")
    laid = load(None, (region, own_layer(tmp_path, "", "", off)))
    assert (laid.own_facts, laid.silenced()) == ((), {})


def test_the_fingerprint_covers_declarations_and_stays_as_it_is_without_any(tmp_path):
    without = load(None, (own_layer(tmp_path / "none", "", ""),))
    assert without.fingerprint == rules().ruleset.fingerprint
    known = {own_rules().ruleset.fingerprint, without.fingerprint}
    for number, (before, after) in enumerate([("[5, 40]", "[5, 41]"), ("half an hour", "an hour"), ("shirt", "blouse")]):
        folder = own_layer(tmp_path / str(number), FACTS.replace(before, after))
        known.add(load(None, (folder,)).fingerprint)
    assert len(known) == 5


def test_a_language_words_own_values_and_shows_own_facts(tmp_path):
    shown = "{explanation: '{garment_under_cuff}, {room_temperature}.'}"
    words = f"{{names: {{thick-sleeve: manga gruesa}}, rules: {{over-a-sleeve: {shown}}}}}"
    laid = load(None, (own_layer(tmp_path, more=f"changes: [{{of: wording, id: es, reason: Ours, set: {words}}}]\n"),))
    explanation = laid.wording["es"].rules["over-a-sleeve"].explanation
    assert explanation.filled({"garment_under_cuff": "thick-sleeve", "room_temperature": 17}, {}) == "manga gruesa, 17."


def test_differences_name_declared_facts(tmp_path):
    added = [(one.what, one.id) for one in differences(rules().ruleset, own_rules().ruleset) if one.kind == "fact"]
    assert added == [("added", fact.name) for fact in own_rules().ruleset.own_facts]
    other = load(None, (own_layer(tmp_path, FACTS.replace("[5, 40]", "[5, 41]")),))
    (difference,) = [one for one in differences(own_rules().ruleset, other) if one.kind == "fact"]
    assert (difference.what, difference.fields) == ("changed", (("range", 40, None), ("range", None, 41)))


def test_an_own_fact_does_not_mute_what_is_urgent(tmp_path):
    change = (
        "changes: [{of: rule, id: very-high, reason: x, set: {when: {all: [{after_hot_bath: {equals: false}}, "
        "{any: [{systolic: {at_least: {limit: severe.systolic}}}, {diastolic: {at_least: {limit: severe.diastolic}}}]}]}, "
        "examples: [{given: {systolic: 190, after_hot_bath: false}, expect: fires}, "
        "{given: {after_hot_bath: true}, expect: silent}]}}]\n"
    )
    assert {fault.code for fault in faults_of(own_layer(tmp_path, more=change))} & {"urgent-rule", "less-urgent"}


def test_that_nothing_of_ones_own_was_recorded_leaves_no_reading_out(tmp_path):
    never_asked = rule("never-asked", "{after_hot_bath: {known: false}}", "{}", "{after_hot_bath: true}", effect="unusable")
    (fault,) = faults_of(own_layer(tmp_path, rules=never_asked))
    assert (fault.code, fault.file) == ("value-unusable", "clinic/reading/ours.yaml")


def run(*arguments: object) -> str:
    ended = CliRunner().invoke(main, ["rules", *map(str, arguments)])
    assert ended.exit_code == 0, ended.output
    return ended.output


def test_the_schema_for_editors_knows_own_facts(tmp_path):
    folder = own_layer(tmp_path)
    schema = json.loads(run("schema", folder))
    Draft202012Validator.check_schema(schema)
    validator, written = Draft202012Validator(schema), yaml.safe_load(RULES)
    assert validator.is_valid(written) and validator.is_valid(yaml.safe_load(FACTS))
    condition = schema["$defs"]["condition-of-reading"]["properties"]
    assert {fact.name for fact in own_rules().ruleset.own_facts} <= set(condition)
    assert "shown_how" in schema["$defs"]["condition-of-series"]["properties"]
    assert "after_hot_bath" not in schema["$defs"]["condition-of-series"]["properties"]
    assert schema["$defs"]["compared-room_temperature"]["description"] == "temperature of the room, Cel"
    changes = [{"of": "rule", "id": "legs-crossed", "set": {"explanation": "{room_temperature} °C."}, "reason": "x"},
               {"of": "wording", "id": "es", "set": {"names": {"thick-sleeve": "manga"}}, "reason": "x"}]  # fmt: skip
    layer = Draft202012Validator({"$ref": "#/$defs/Layer", "$defs": schema["$defs"]})
    layer.validate({"name": "clinic", "revision": "1", "changes": changes})
    written[0]["when"] = {"room_temperature": {"below": 4}}
    assert not validator.is_valid(written)


SCHEMA = json.loads((shipped("openapi") / "rule-files.schema.json").read_text("utf-8"))
SEEN_ALONE = [name for name, parts in MISTAKES.items() if parts[1] not in ("taken-name", "not-a-unit")]


@pytest.mark.parametrize("mistake", SEEN_ALONE)
def test_the_schema_marks_a_wrong_declaration_unless_only_others_show_it(mistake):
    beyond = {"range backwards", "values read alike", "blank meaning"}
    right = Draft202012Validator(SCHEMA).is_valid(yaml.safe_load(declared(**MISTAKES[mistake][0])))
    assert right == (mistake in beyond | {"value twice"})


def test_a_file_of_facts_is_laid_out_alike(tmp_path):
    folder = own_layer(tmp_path)
    run("format", folder)
    again = (folder / "facts" / "ours.yaml").read_text()
    run("format", folder)
    assert (folder / "facts" / "ours.yaml").read_text() == again
    assert yaml.safe_load(again) == yaml.safe_load(FACTS)
    assert load(None, (folder,)).fingerprint == own_rules().ruleset.fingerprint


def test_what_the_page_teaches_works_as_it_stands(tmp_path):
    page = (shipped("rules") / "README.md").read_text("utf-8")
    taught = page[page.index("## In five steps") :]
    files = {name: dedent(text) for name, text in re.findall(r"    cat > (\S+) <<'END'\n(.*?)    END\n", taught, re.DOTALL)}
    of_layer = {"layer.yaml", "facts/bath.yaml", "reading/bath.yaml", "patients/ours.yaml"}
    assert set(files) == {f"clinic/{name}" for name in of_layer} | {"patient.json"}
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    taught_rules = Rules.compiled(load(None, (tmp_path / "clinic",)))
    answer = answer_to(json.loads(files["patient.json"]), taught_rules)
    (finding,) = [one for one in answer["findings"] if one["rule"] == "after-hot-bath"]
    assert finding["explanation"] == "Taken within half an hour of a hot bath. Room temperature in °C: 21."
    assert answer["problems"] == []


def test_a_bundle_holds_declarations(tmp_path):
    folder = own_layer(tmp_path)
    approval = Approval("A. Lead", "2026-03-02")
    bundle = json.loads(packed(None, (folder,), own_rules().ruleset, approval, None))["bundle"]
    assert bundle["files"]["layers/1/clinic/facts/ours.yaml"] == FACTS
    assert bundle["fingerprint"] == own_rules().ruleset.fingerprint


def test_explanations_tell_own_facts(monkeypatch):
    monkeypatch.setattr(explaining, "loaded", lambda folder, layers: own_rules())
    told = run("explain", "cold-room")
    assert "room_temperature is below 18 °C" in told
    assert "room_temperature (°C): temperature of the room" in told
