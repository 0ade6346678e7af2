"""Facts of one's own through the doors of integrators: mapped columns, dry runs, detail, patients."""

import json

import pandas as pd
import pytest
import yaml
from click.testing import CliRunner

import heartlevel
from exchange.resources import bundle, patient, pressure
from exchange.test_questionnaire import answered, code, response
from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.command import assess as assessing
from heartlevel.command import columns as guessing
from heartlevel.command.main import main
from heartlevel.fhir.call import bundle_for, fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.questionnaire import questionnaire
from heartlevel.frames.asked import UnusableTable
from heartlevel.ruling.tools.translating.outstanding import every_text
from heartlevel.web.application import create_app
from own_layer import OWN_RULES, SOURCES, own_layer, own_rules
from support import reading, rules, rules_fired

TAKEN = "2026-03-02T07:10:00+01:00"
COLUMNS = {
    "Patient": "subject", "At": "taken_at", "SYS": "systolic", "DIA": "diastolic", "Where": "setting",
    "Garment": {"to": "technique.garment_under_cuff", "values": {"coat": "thick-sleeve", "-": None}},
    "Room": {"to": "technique.room_temperature", "unit": "Cel"}, "Batteries": "device.battery_changed_days",
}  # fmt: skip
ROW = {"Patient": "s-1", "At": TAKEN, "SYS": "142", "DIA": "88", "Where": "home", "Garment": "coat", "Room": "17,5",
       "Batteries": "400"}  # fmt: skip


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A table and its columns file; the layer is loaded once for all tests."""
    for command in (assessing, guessing):
        monkeypatch.setattr(command, "loaded", lambda folder, layers: own_rules() if layers else rules())
    (tmp_path / "m.yaml").write_text(yaml.safe_dump({"columns": COLUMNS, "decimal": ","}))
    return tmp_path


def run(folder, command: str, *rows: dict, layered: bool = True, **options: object):
    (folder / "t.csv").write_text("\n".join(";".join(line) for line in (ROW, *(row.values() for row in rows))) + "\n")
    given = [
        part
        for name, value in options.items()
        for part in (f"--{name.replace('_', '-')}", *([] if value is None else [str(value)]))
    ]
    return CliRunner().invoke(
        main, [command, str(folder / "t.csv"), *(["--layer", str(folder)] if layered else []), *given]
    )


def test_a_column_map_leads_to_them():
    found = heartlevel.assess(pd.DataFrame([ROW]), own_rules(), columns=COLUMNS, decimal=",")
    assert {"over-a-sleeve", "cold-room", "old-batteries"} <= set(found.findings["rule"])
    assert found.problems.empty


def test_a_column_map_is_checked_by_what_they_declare():
    wrong = COLUMNS | {"Garment": {"to": "technique.garment_under_cuff", "values": {"coat": "thick-sleve"}},
                       "Room": {"to": "technique.room_temperature", "unit": "K"},
                       "Batteries": "device.battery_changed"}  # fmt: skip
    with pytest.raises(UnusableTable) as refused:
        heartlevel.assess(pd.DataFrame([ROW]), own_rules(), columns=wrong, fixed={"subject.shown_how": "perhaps"})
    told = str(refused.value)
    assert "did you mean 'thick-sleeve'?" in told and "expected one of Cel" in told
    assert "did you mean 'device.battery_changed_days'?" in told and "fixed: subject.shown_how" in told
    with pytest.raises(UnusableTable, match="room_temperature: no such name"):
        heartlevel.assess(pd.DataFrame([ROW]), rules(), columns=COLUMNS)


def test_a_dry_run_tells_how_they_are_understood_and_what_would_fail(folder):
    tried = run(folder, "assess", ROW, ROW | {"Patient": "s-2", "Room": "175"}, columns=folder / "m.yaml", dry_run=None)
    assert "-> technique.room_temperature (number Cel, here in Cel); here: number" in tried.output
    assert "-> technique.garment_under_cuff (text, 2 values translated)" in tried.output
    assert "! Room: expected a number from 5 to 40 Cel [out-of-range]: 1, on line 3" in tried.output
    assert (tried.exit_code, "175" in tried.output) == (20, False)


def test_the_run_after_it_assesses_them(folder):
    done = run(folder, "assess", ROW, columns=folder / "m.yaml", json=None, workers=1)
    (answer,) = (json.loads(line) for line in done.stdout.splitlines())
    assert rules_fired(answer) & set(OWN_RULES) == {"over-a-sleeve", "cold-room", "old-batteries"}


def test_without_the_layer_the_columns_file_is_refused(folder):
    refused = run(folder, "assess", ROW, layered=False, columns=folder / "m.yaml", dry_run=None)
    assert (refused.exit_code, "technique.room_temperature: no such name" in refused.output) == (2, True)


def test_a_first_columns_file_maps_what_is_headed_like_them(folder):
    (folder / "t.csv").write_text("Patient;Date;SYS;DIA;Where;Room temperature;garment under cuff\n")
    for layers, mapped in ((["--layer", str(folder)], True), ([], False)):
        written = CliRunner().invoke(main, ["columns", str(folder / "t.csv"), *layers]).stdout
        columns = yaml.safe_load(written)["columns"]
        assert (columns.get("Room temperature") == "technique.room_temperature") == mapped
        assert (columns.get("garment under cuff") == "technique.garment_under_cuff") == mapped


def sent(detail: str | None = None, **technique) -> dict:
    return {"subject": {"id": "s-1", "age_years": 50, "shown_how": False}, "options": {"detail": detail},
            "readings": [reading(TAKEN, 142, 88, technique=technique)]}  # fmt: skip


@pytest.mark.parametrize("detail", ["full", "brief", "conclusion"])
def test_every_level_of_detail_is_written_with_them_as_json_and_fhir(detail):
    payload = sent(detail, room_temperature=17)
    bundle, whole = bundle_for(payload, own_rules(), codes_of(), recorded=TAKEN)
    assert {"cold-room", "never-shown-how"} <= rules_fired(whole)
    kinds = {entry["resource"]["resourceType"] for entry in bundle["entry"]}
    assert ("urn:heartlevel:subject" in json.dumps(bundle), "Observation" in kinds) == (True, detail != "conclusion")
    less = answer_to(payload, own_rules())
    assert ("findings" in less and {"cold-room"} <= rules_fired(less)) == (detail != "conclusion")
    if detail == "full":
        (again,) = fhir_answers(bundle, own_rules(), codes_of()).as_dict()["answers"]
        assert rules_fired(again) == rules_fired(whole)


def test_the_questionnaire_asks_them_and_answers_are_read_through_every_door(tmp_path):
    form = own_rules().ruleset.choices.form
    asked = {item["linkId"]: item for group in questionnaire(form)["item"] for item in group["item"]}
    assert asked["technique.after_hot_bath"]["type"] == "boolean"
    assert [option["valueCoding"]["code"] for option in asked["technique.garment_under_cuff"]["answerOption"]] == [
        "none", "shirt", "thick-sleeve",
    ]  # fmt: skip
    assert asked.keys() - {item["linkId"] for group in questionnaire()["item"] for item in group["item"]} == {
        f"{name}.{fact}" for name, facts in {
            "technique": ["after_hot_bath", "garment_under_cuff", "room_temperature"],
            "subject": ["shown_how"], "device": ["battery_changed_days"],
        }.items() for fact in facts
    }  # fmt: skip
    sleeve = code("technique.garment_under_cuff", "thick-sleeve")
    told = response(
        answered("technique.garment_under_cuff", sleeve, kind="Coding"),
        answered("technique.room_temperature", 17, kind="Decimal"),
        answered("subject.shown_how", False),
    )
    sent = bundle(patient(), pressure("o-1"), told)
    fired = {"over-a-sleeve", "cold-room", "never-shown-how"}
    (answer,) = fhir_answers(sent, own_rules(), codes_of()).as_dict()["answers"]
    assert rules_fired(answer) & set(OWN_RULES) == fired
    (tmp_path / "sent.fhir").write_text(json.dumps(sent))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assessing, "loaded", lambda folder, layers: own_rules())
        done = CliRunner().invoke(main, ["assess", str(tmp_path / "sent.fhir"), "--json", "--workers", "1"])
    assert rules_fired(json.loads(done.stdout)) & set(OWN_RULES) == fired
    served = create_app({"TESTING": False}, own_rules()).test_client().get("/v1/fhir/Questionnaire/technique")
    assert served.get_json() == json.loads(json.dumps(questionnaire(form)))


PATIENT = """
- who: A room too cold
  because: Our protocol
  request:
    subject: {id: p-1, age_years: 58}
    readings: [{taken_at: "2026-03-02T07:10:00+01:00", systolic: 142, diastolic: 88, setting: home,
                technique: {room_temperature: 17}}]
  expect: {findings: [cold-room], absent: [over-a-sleeve]}
"""


def test_whole_patients_may_have_them(tmp_path):
    layer = own_layer(tmp_path)
    (layer / "patients").mkdir()
    (layer / "patients" / "ours.yaml").write_text(PATIENT)
    assert Rules.load(None, (layer,)).ruleset.layers[0].patients
    (layer / "patients" / "ours.yaml").write_text(PATIENT.replace("temperature: 17", "temperature: 18"))
    with pytest.raises(RuleFaults) as refused:
        Rules.load(None, (layer,))
    assert [fault.file for fault in refused.value.faults] == ["clinic/patients/ours.yaml"]


RULE = f"""
- id: cold-hall
  scope: reading
  parameters: {{coldest: 18}}
  when: {{room_temperature: {{below: {{param: coldest}}}}}}
  effect: none
  severity: low
  title: "Below {{param:coldest}} °C"
  explanation: "The room had {{room_temperature}} °C, less than {{param:coldest}}."
  advice: Ask the practice.
  sources: {SOURCES}
  examples:
    - {{given: {{room_temperature: 17, systolic: 142, diastolic: 88, pulse_pressure: 54}}, expect: fires}}
    - {{given: {{room_temperature: 18}}, expect: silent}}
"""


def coldest(degrees: float) -> str:
    return f"changes: [{{of: rule, id: cold-hall, set: {{parameters: {{coldest: {degrees}}}}}, reason: A hall}}]\n"


def test_a_parameter_is_compared_with_them_and_changed_alone(tmp_path):
    region = own_layer(tmp_path, rules=RULE, name="region")
    laid = Rules.load(None, (region, own_layer(tmp_path, "", "", coldest(16))))
    fired = [rules_fired(answer_to(sent(room_temperature=degrees), laid)) & {"cold-hall"} for degrees in (17, 15.5)]
    assert fired == [set(), {"cold-hall"}]
    (rule,) = (rule for rule in laid.ruleset.every_rule() if rule.id == "cold-hall")
    assert (rule.title, rule.unit_of("coldest")) == ("Below 16 °C", "Cel")


def test_a_parameter_out_of_their_range_is_refused_where_it_is_set(tmp_path):
    region = own_layer(tmp_path, rules=RULE, name="region")
    with pytest.raises(RuleFaults) as refused:
        Rules.load(None, (region, own_layer(tmp_path, "", "", coldest(4))))
    assert {(fault.file, fault.code) for fault in refused.value.faults} == {("clinic/layer.yaml", "out-of-range")}


def test_examples_that_contradict_each_other_are_found_beside_them(tmp_path):
    with pytest.raises(RuleFaults) as refused:
        Rules.load(None, (own_layer(tmp_path, rules=RULE.replace("pulse_pressure: 54", "pulse_pressure: 50")),))
    assert [fault.code for fault in refused.value.faults] == ["contradicting-facts"]


def test_examples_around_their_thresholds_are_proposed(tmp_path):
    shown = CliRunner().invoke(main, ["rules", "examples", "--layer", str(own_layer(tmp_path, rules=RULE)), "cold-hall"])
    assert "room_temperature: 19" in shown.output, shown.output


def test_their_values_are_among_the_texts_to_be_translated():
    missing = {text.path for text in every_text(own_rules().ruleset, "es") if text.text is None}
    assert ("names", "thick-sleeve") in missing
    assert ("names", "thick-sleeve") not in {text.path for text in every_text(rules().ruleset, "es")}
