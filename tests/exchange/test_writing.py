"""Answers as FHIR resources, held against FHIR's own definitions by a library that had no part in writing them."""

import json
import re
from datetime import UTC, datetime, timedelta, timezone
from statistics import mean

import pytest
from fhir.resources.R4B.bundle import Bundle
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.resources import at_path
from heartlevel import answer_to
from heartlevel.fhir import names
from heartlevel.fhir.call import bundle_for, fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.vocabulary import (
    CIRCUMSTANCES,
    METHODS,
    SITES,
    SYMPTOMS,
    TAKEN_BY,
    TAKEN_IN,
)  # fmt: skip
from support import answer, demo, examples, reading, rules, week

# R4B (4.3.0) has the resources that are written here as R4 (4.0.1) has them.
PEOPLE = [pytest.param(payload, id=payload["subject"]["id"]) for payload in demo()]
# Of whom something cannot be read: what could not be read is not written.
READ_IN_PART = {"s-05", "s-11", "s-26", "s-28", "s-29", "s-43"}
# What FHIR has no place for in a Bundle.
RECORDED = "2026-03-09T07:00:00+00:00"
NOT_CARRIED = ("device_checks", "periods")


def bundle_of(payload: dict) -> dict:
    return bundle_for(payload, rules(), codes_of(), recorded=RECORDED)[0]


def of_kind(bundle: dict, kind: str) -> list[dict]:
    return [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind]


def by_address(bundle: dict) -> dict[str, dict]:
    return {entry["fullUrl"]: entry["resource"] for entry in bundle["entry"]}


@pytest.mark.parametrize("payload", PEOPLE)
def test_every_resource_is_as_fhir_defines_it_and_every_reference_leads_to_one(payload):
    text = json.dumps(bundle_of(payload))
    Bundle.model_validate_json(text)
    addresses = [entry["fullUrl"] for entry in json.loads(text)["entry"]]
    assert len(set(addresses)) == len(addresses)
    assert set(re.findall(r'"reference": "([^"]*)"', text)) <= set(addresses)


@pytest.mark.parametrize("payload", PEOPLE)
def test_a_mean_is_that_of_the_readings_that_it_is_derived_from(payload):
    bundle = bundle_of(payload)
    resources, told = by_address(bundle), answer(payload)
    means = [one for one in of_kind(bundle, "Observation") if "derivedFrom" in one]
    written = ("home", "office-attended", "office-unattended", "ambulatory-24h")
    assert len(means) == sum(side["side"] in written and side["systolic"] is not None for side in told["sides"])
    for observation in means:
        readings = [resources[reference["reference"]] for reference in observation["derivedFrom"]]
        for index, part in enumerate(observation["component"]):
            values = [one["component"][index]["valueQuantity"]["value"] for one in readings]
            assert part["valueQuantity"]["value"] == pytest.approx(mean(values), abs=0.0501)
        times = [one["effectiveDateTime"] for one in readings]
        assert (observation["effectivePeriod"]["start"], observation["effectivePeriod"]["end"]) == (times[0], times[-1])


def test_a_mean_of_24_hours_has_the_codes_of_one():
    payload = next(one for one in demo() if "ambulatory-24h" in [side["side"] for side in answer(one)["sides"]])
    codes = [one["code"]["coding"][0]["code"] for one in of_kind(bundle_of(payload), "Observation")]
    assert "97844-5" in codes


@pytest.mark.parametrize("payload", PEOPLE)
def test_findings_conclusion_urgency_and_steps_are_those_of_the_answer(payload):
    told, bundle = answer(payload), bundle_of(payload)
    issues = of_kind(bundle, "DetectedIssue")
    assert [(one["code"]["coding"][0]["code"], one["severity"], one["detail"]) for one in issues] == [
        (finding["rule"], finding["severity"], finding["explanation"]) for finding in told["findings"]
    ]
    resources = by_address(bundle)
    for one, finding in zip(issues, told["findings"], strict=True):
        named = [resources[item["reference"]]["identifier"][0]["value"] for item in one.get("implicated", [])]
        assert named == finding["readings"]
    (report,) = of_kind(bundle, "DiagnosticReport")
    assert report["conclusion"] == " ".join(told["conclusion"]["clinician"])
    messages = {one["category"][0]["text"]: one for one in of_kind(bundle, "Communication")}
    assert ("Urgency (clinician)" in messages) == told["urgent"]
    if told["urgent"]:
        assert messages["Urgency (clinician)"]["payload"] == [{"contentString": told["urgency"]["text"]}]
        assert messages["Urgency (patient)"]["payload"] == [{"contentString": told["urgency"]["patient"]}]
    steps = messages.get("Next steps (clinician)", {"payload": []})["payload"]
    assert [step["contentString"] for step in steps] == [step["text"] for step in told["next_steps"]]


def test_the_provenance_names_the_rules_and_all_that_was_made_by_them():
    bundle = bundle_of(week())
    (provenance,) = of_kind(bundle, "Provenance")
    assert provenance["entity"][0]["what"]["identifier"]["value"] == rules().ruleset.fingerprint
    made = [by_address(bundle)[target["reference"]]["resourceType"] for target in provenance["target"]]
    assert {"Observation", "DiagnosticReport"} <= set(made)
    assert "Provenance" not in made


def test_what_is_left_out_and_what_could_not_be_read_is_said():
    payload = week()
    payload["readings"][0]["setting"] = "moon"
    (outcome,) = of_kind(bundle_of(payload), "OperationOutcome")
    told = [(issue["severity"], issue["details"]["text"]) for issue in outcome["issue"]]
    assert told[0][0] == "warning" and told[0][1].startswith("/readings/0/setting: setting: found 'moon'")
    assert "Not written as resources" in told[-1][1]


def test_the_same_request_gives_the_same_bundle_and_another_one_other_addresses():
    first, again, other = bundle_of(week()), bundle_of(week()), bundle_of(week(6))
    assert first == again
    assert not by_address(first).keys() & by_address(other).keys()


def test_every_code_of_a_published_system_is_one_that_is_listed():
    listed = {(code["system"], code["code"]) for code in codes_of().listed()}
    fixed = {(names.LOINC, code) for code in [
        *names.PANELS, *names.COMPONENTS, names.MEAN_PANEL[0], names.MEAN_PANEL_24H[0],
        *(code for code, _ in names.MEANS.values()), *(code for code, _ in names.MEANS_24H.values()),
    ]}  # fmt: skip
    used = set()
    for payload in demo():
        text = json.dumps(bundle_of(payload))
        used |= set(re.findall(r'"system": "(http://(?:loinc|snomed)[^"]*)", "code": "([^"]*)"', text))
    assert used and used <= listed | fixed


def sent_again(payload: dict) -> dict:
    """Return the answer to what a payload is as FHIR."""
    options = [{"name": name, "valueString": value} for name, value in payload.get("options", {}).items()]
    sent = {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": bundle_of(payload)}, *options]}
    answers = fhir_answers(sent, rules(), codes_of())
    for issue in answers.issues:
        assert at_path(sent, issue.expression) is not None
    (one,) = answers.answered
    return one.answer


@pytest.mark.parametrize("payload", [one for one in PEOPLE if one.id not in READ_IN_PART])
def test_what_is_written_is_read_again_as_what_it_was(payload):
    options = {name: value for name, value in payload.get("options", {}).items() if isinstance(value, str)}
    payload = {name: value for name, value in payload.items() if name not in NOT_CARRIED} | {"options": options}
    told = answer_to(payload, rules())
    assert told["problems"] == [] and sent_again(payload) == told


def test_only_people_of_whom_something_could_not_be_read_are_left_out_there():
    assert {one.id for one in PEOPLE if answer(one.values[0])["problems"]} >= READ_IN_PART


FLAG = st.none() | st.booleans()
TECHNIQUE = st.fixed_dictionaries({}, optional={
    "body_position": st.sampled_from(["sitting", "standing", "lying"]), "legs_crossed": FLAG, "arm_supported": FLAG,
    "arm_height_cm": st.integers(-60, 60) | st.floats(-60, 60).map(lambda number: round(number, 1)),
    "rested_minutes": st.integers(0, 60), "talking": FLAG,
})  # fmt: skip
DETAILS = {
    "pulse": st.integers(40, 160), "unit": st.sampled_from(["mm[Hg]", "kPa"]), "taken_by": st.sampled_from(TAKEN_BY),
    "site": st.sampled_from(SITES), "device": st.sampled_from(["d-1", "d 2/é"]), "asleep": FLAG, "technique": TECHNIQUE,
    "circumstances": st.lists(st.sampled_from(CIRCUMSTANCES), unique=True, max_size=3),
    "id": st.text("ab-é/ 1", min_size=1),
    "symptoms": st.lists(st.sampled_from(SYMPTOMS), unique=True, max_size=2), "selected_from": st.integers(1, 9),
    "device_status": st.fixed_dictionaries({}, optional={"body_movement": FLAG, "cuff_loose": FLAG}),
}  # fmt: skip
SUBJECT = st.fixed_dictionaries({"id": st.text("sß-1 ", min_size=1, max_size=9)}, optional={
    "age_years": st.integers(18, 90), "pregnant": FLAG, "frail": FLAG, "on_treatment": FLAG,
    "arm_circumference_cm": st.fixed_dictionaries({"left": st.integers(20, 50)}),
    "avoid_arms": st.lists(st.sampled_from(["left", "right"]), unique=True),
    "symptoms": st.lists(st.sampled_from(SYMPTOMS).map(lambda name: {"symptom": name, "on": "2026-03-02"}), max_size=2),
    "usual_waking": st.just("15:00"), "treatment_since": st.just("2025-01-02"),
})  # fmt: skip


@st.composite
def payloads(draw) -> dict:
    """A person with some readings, a minute or more apart."""
    moment, readings = datetime(2026, 3, 1, 7, tzinfo=UTC), []
    for _ in range(draw(st.integers(1, 5))):
        moment += timedelta(minutes=draw(st.integers(1, 2000)))
        at = moment.astimezone(timezone(timedelta(minutes=30 * draw(st.integers(-20, 20)))))
        more = draw(st.fixed_dictionaries({}, optional=DETAILS))
        scale = 10 if more.get("unit") == "kPa" else 1
        readings.append(reading(at.isoformat(), draw(st.integers(80, 230)) / scale, draw(st.integers(40, 79)) / scale,
                                **more | {"setting": draw(st.sampled_from(TAKEN_IN))}))  # fmt: skip
    devices = [{"id": "d-1", "method": draw(st.sampled_from(METHODS)), "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}},
               {"id": "d 2/é", "independently_validated": draw(FLAG)}]  # fmt: skip
    return {"subject": draw(SUBJECT), "devices": devices, "readings": readings}


@given(payloads())
@settings(max_examples=examples(100), deadline=None)
def test_nothing_is_lost_between_json_and_fhir_that_both_can_carry(payload):
    told = answer_to(payload, rules())
    again = sent_again(payload)
    apart = {"problems"}  # names given twice, which are written with their numbers
    assert {key: value for key, value in again.items() if key not in apart} == {
        key: value for key, value in told.items() if key not in apart
    }
