"""Facts of one's own in requests: read, checked and told as shipped fields are, and nothing without them."""

import json
import pickle

import numpy as np
import pytest

from heartlevel import answer_to
from heartlevel.assessment import assess_requests
from heartlevel.fhir.call import bundle_for, fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.intake.own.form import PLAIN_FORM, form_of
from heartlevel.intake.request import read
from heartlevel.intake.schema import LISTS
from heartlevel.ruling.files.own.units import is_unit, unit_meant
from heartlevel.tables.fields import FIELDS, fields_of
from own_layer import OWN_RULES, own_rules
from support import reading, rules, rules_fired, week

TAKEN = "2026-03-02T07:10:00+01:00"


def one_reading(technique: dict | None = None, device: dict | None = None, **subject) -> dict:
    more = {"technique": technique} if technique is not None else {}
    devices = [{"id": "d-1", **device}] if device else []
    return {"subject": {"id": "s-1", "age_years": 50, **subject}, "devices": devices,
            "readings": [reading(TAKEN, 142, 88, device="d-1" if device else None, **more)]}  # fmt: skip


def own_answer(*parts, **subject) -> dict:
    return answer_to(one_reading(*parts, **subject), own_rules())


def told(answer: dict) -> dict[str, tuple[str, str]]:
    return {fault["pointer"]: (fault["code"], f"{fault['detail']} {fault['hint']}") for fault in answer["problems"]}


@pytest.mark.parametrize(
    ("request_parts", "fires"),
    [(({"after_hot_bath": True},), "after-hot-bath"), (({"after_hot_bath": " TRUE "},), "after-hot-bath"),
     (({"garment_under_cuff": "Thick sleeve"},), "over-a-sleeve"), (({"room_temperature": "17,5"},), "cold-room"),
     ((None, {"battery_changed_days": 400}), "old-batteries")],
)  # fmt: skip
def test_what_is_recorded_makes_a_rule_of_ones_own_fire(request_parts, fires):
    answer = own_answer(*request_parts)
    assert rules_fired(answer) & set(OWN_RULES) == {fires}
    assert answer["problems"] == []


def test_what_is_recorded_of_the_person_is_known_of_each_reading():
    payload = week() | {"subject": {"id": "s-1", "age_years": 50, "shown_how": False}}
    (finding,) = [one for one in answer_to(payload, own_rules())["findings"] if one["rule"] == "never-shown-how"]
    assert len(finding["readings"]) == len(payload["readings"])


def test_a_finding_shows_what_was_recorded_and_what_was_not():
    (finding,) = [one for one in own_answer({"garment_under_cuff": "thick-sleeve"})["findings"]
                  if one["rule"] == "over-a-sleeve"]  # fmt: skip
    assert finding["explanation"] == "Over thick-sleeve at not recorded °C."
    assert finding["facts"]["garment_under_cuff"] == "thick-sleeve"


def test_bad_values_cost_themselves_alone_and_are_named():
    technique = {"after_hot_bath": "perhaps", "garment_under_cuff": "shrt", "room_temperature": 45, "talking": True,
                 "after_hot_bat": True}  # fmt: skip
    answer = own_answer(technique, {"battery_changed_days": -1}, shown_how=3)
    at = "/readings/0/technique/"
    found = told(answer)
    assert found[f"{at}after_hot_bath"] == ("not-true-or-false", "found 'perhaps'; expected true or false None")
    assert found[f"{at}garment_under_cuff"][0] == "not-one-of"
    assert "one of none, shirt, thick-sleeve did you mean 'shirt'?" in found[f"{at}garment_under_cuff"][1]
    assert found[f"{at}room_temperature"] == ("out-of-range", "found 45; expected a number from 5 to 40 Cel None")
    assert found[f"{at}after_hot_bat"][0] == "unknown-key"
    assert "did you mean 'after_hot_bath'?" in found[f"{at}after_hot_bat"][1]
    assert found["/devices/0/battery_changed_days"][0] == "out-of-range"
    assert found["/subject/shown_how"][0] == "not-true-or-false"
    assert len(found) == 6 and len(answer["readings"]) == 1
    assert "talking" in rules_fired(answer) and not rules_fired(answer) & set(OWN_RULES)
    assert answer["classification"]["reason"] != "limits-unclear"


def test_a_misspelt_fact_of_the_person_leaves_the_limits_clear():
    answer = own_answer(shwon_how=True)
    assert told(answer)["/subject/shwon_how"] == (
        "unknown-key",
        "no field of that name is defined here did you mean 'shown_how'?",
    )
    assert answer["classification"]["reason"] != "limits-unclear"


def test_facts_that_no_rules_in_force_declare_are_unknown_keys():
    answer = answer_to(one_reading({"after_hot_bath": True, "talking": False}), rules())
    assert told(answer)["/readings/0/technique/after_hot_bath"][0] == "unknown-key"
    assert len(answer["readings"]) == 1


def test_what_was_not_recorded_is_unknown_and_listed_as_undocumented():
    lacking = {item["item"] for item in own_answer({"talking": False})["undocumented"]}
    assert {"after_hot_bath", "garment_under_cuff", "room_temperature", "shown_how"} <= lacking
    full = {item["item"] for item in own_answer({"after_hot_bath": False})["undocumented"]}
    assert "after_hot_bath" not in full


def test_a_detail_of_ones_own_documents_technique_as_others_do():
    documented = [own_answer(technique)["readings"][0]["reliability"] for technique in ({}, {"after_hot_bath": False})]
    shipped = [own_answer(technique)["readings"][0]["reliability"] for technique in ({}, {"full_bladder": False})]
    assert documented == shipped


def test_an_answer_is_the_same_where_nothing_of_ones_own_is_sent():
    payload = week(technique={"talking": True, "arm_level": "below"})
    changed = {"made_with", "undocumented"}
    ours, theirs = (answer_to(payload, each) for each in (own_rules(), rules()))
    assert {key: ours[key] for key in ours.keys() - changed} == {key: theirs[key] for key in theirs.keys() - changed}


def test_without_facts_of_ones_own_the_declared_form_is_used_as_it_is():
    assert rules().ruleset.choices.form is PLAIN_FORM
    assert [type(block) for block in PLAIN_FORM.lists.values()] == list(LISTS.values())
    assert fields_of(PLAIN_FORM) is FIELDS


def test_rules_with_facts_of_ones_own_can_be_copied_to_another_process():
    copied = pickle.loads(pickle.dumps(own_rules()))
    assert copied.ruleset.choices.form is own_rules().ruleset.choices.form is form_of(own_rules().ruleset.own_facts)
    field = fields_of(copied.ruleset.choices.form)["technique.room_temperature"]
    assert pickle.loads(pickle.dumps(field)) == field
    payload = one_reading({"room_temperature": 17})
    assert answer_to(payload, copied) == answer_to(payload, own_rules())


def test_columns_hold_what_was_recorded():
    requests = [read(one_reading({"room_temperature": value}), own_rules().ruleset.choices) for value in (17, None, 40)]
    batch = assess_requests(requests, own_rules()).batch
    np.testing.assert_array_equal(batch.readings["room_temperature"], [17, np.nan, 40])
    np.testing.assert_array_equal(batch.subjects["shown_how"], [np.nan] * 3)


def test_facts_of_ones_own_come_and_go_by_the_extension_of_fhir():
    technique = {"room_temperature": 17, "garment_under_cuff": "thick-sleeve"}
    sent = one_reading(technique, {"battery_changed_days": 400}, shown_how=False)
    bundle, answer = bundle_for(sent, own_rules(), codes_of(), recorded=TAKEN)
    (again,) = fhir_answers(bundle, own_rules(), codes_of()).as_dict()["answers"]
    fired = {"room": "cold-room", "sleeve": "over-a-sleeve", "person": "never-shown-how", "device": "old-batteries"}
    assert rules_fired(answer) & set(OWN_RULES) == rules_fired(again) & set(OWN_RULES) == set(fired.values())


def test_a_bad_value_in_fhir_is_placed_there():
    bundle, _ = bundle_for(one_reading({"room_temperature": 17}), own_rules(), codes_of(), recorded=TAKEN)
    hot = json.loads(json.dumps(bundle).replace('"valueDecimal": 17.0', '"valueDecimal": 45'))
    (answer,) = fhir_answers(hot, own_rules(), codes_of()).as_dict()["answers"]
    (problem,) = answer["problems"]
    assert problem["code"] == "out-of-range" and problem["pointer"].startswith("Bundle.entry["), problem


# From UCUM's specification (ucum.org), its tables of base, derived and customary units; quoted from memory.
@pytest.mark.parametrize(
    "code", ["Cel", "[degF]", "mm[Hg]", "min", "h", "d", "a", "%", "/min", "1", "kg/m2", "lx", "dB", "g"]
)
def test_units_of_ucum_are_units(code):
    assert is_unit(code)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("celsius", "Cel"),
        ("°C", "Cel"),
        ("mmHg", "mm[Hg]"),
        ("minutes", "min"),
        ("Years", "a"),
        ("furlongs", None),
        ("", None),
    ],
)
def test_what_is_no_unit_is_told_with_the_one_meant(written, meant):
    assert not is_unit(written)
    assert unit_meant(written) == (meant and f"did you mean '{meant}'?")
