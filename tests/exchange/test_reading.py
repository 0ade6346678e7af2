"""What is read of FHIR resources. Examples of the specification are named where they stand."""

import pytest

from exchange.resources import (
    LOINC,
    R4_EXAMPLE,
    R4_EXAMPLE_ABSENT,
    SNOMED,
    at_path,
    bundle,
    component,
    concept,
    condition,
    parameters,
    patient,
    pressure,
    quantity,
)  # fmt: skip
from heartlevel.fhir.call import fhir_answers, told_of_no_bundle
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.reading.subjects import decoded_subjects
from support import rules


def decoded(*resources):
    (subject,) = decoded_subjects(bundle(*resources), codes_of()).subjects
    return subject.request


def only_reading(**elements) -> dict:
    (reading,) = decoded(patient(), pressure("o-1", **elements))["readings"]
    return reading


def assessed(payload):
    return fhir_answers(payload, rules(), codes_of())


def test_a_reading_is_read_with_its_time_place_and_unit():
    assert only_reading() == {
        "id": "o-1", "taken_at": "2026-03-01T07:10:00+01:00", "systolic": 128, "diastolic": 78, "unit": "mm[Hg]",
        "setting": "home",
    }  # fmt: skip


def test_the_specifications_example_is_read_and_its_date_without_a_time_is_a_problem_of_its_own():
    payload = parameters({**R4_EXAMPLE}, setting=("Code", "office"))
    (subject,) = decoded_subjects(payload, codes_of()).subjects
    assert subject.request["subject"] == {"id": "example"}
    assert subject.request["readings"] == [
        {"id": "blood-pressure", "taken_at": "2012-09-17", "systolic": 107, "diastolic": 60, "unit": "mm[Hg]",
         "site": "right-upper-arm", "taken_by": "staff", "setting": "office"}
    ]  # fmt: skip
    interpreted, issue = assessed(payload).issues
    assert (issue.code, at_path(payload, issue.expression)) == ("not-a-time", "2012-09-17")
    assert at_path(payload, interpreted.expression)["text"] == "Below low normal"
    timed = parameters({**R4_EXAMPLE, "effectiveDateTime": "2012-09-17T10:00:00+10:00"}, setting=("Code", "office"))
    (one,) = assessed(timed).answered
    assert [(reading["systolic"], reading["diastolic"]) for reading in one.answer["readings"]] == [(107.0, 60.0)]


def test_the_specifications_example_without_a_diastolic_pressure_names_the_component():
    payload = parameters(R4_EXAMPLE_ABSENT, setting=("Code", "office"))
    missing = next(issue for issue in assessed(payload).issues if issue.code == "missing")
    assert at_path(payload, missing.expression)["dataAbsentReason"]["coding"][0]["code"] == "not-performed"


@pytest.mark.parametrize(
    ("code", "value"),
    [
        ("33586001", "sitting"),
        ("40199007", "lying"),
        ("10904000", "standing"),
    ],
)
def test_the_position_is_read_from_the_standards_extension_or_a_component(code, value):
    url = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
    by_extension = only_reading(extension=[{"url": url, "valueCodeableConcept": concept(code)}])
    as_component = {"code": concept("8361-8", LOINC), "valueCodeableConcept": concept(code)}
    by_component = only_reading(component=[component("8480-6", 128), component("8462-4", 78), as_component])
    assert by_extension["technique"] == by_component["technique"] == {"body_position": value}


def test_a_heart_rate_counts_as_a_component_or_as_an_observation_of_the_very_same_time():
    rate = {"resourceType": "Observation", "id": "hr", "status": "final", "code": concept("8867-4", LOINC),
            "subject": {"reference": "Patient/p-1"}, "effectiveDateTime": "2026-03-01T07:10:00+01:00",
            "valueQuantity": quantity(61, "/min")}  # fmt: skip
    pulses = [
        reading.get("pulse") for reading in decoded(patient(), pressure("o-1"), pressure("o-2", day=2), rate)["readings"]
    ]
    assert pulses == [61, None]
    parts = [component("8480-6", 128), component("8462-4", 78), component("8867-4", 66, code="/min")]
    assert only_reading(component=parts)["pulse"] == 66


def test_a_device_is_known_by_its_own_id_and_has_the_method_of_its_observations():
    device = {"resourceType": "Device", "id": "d-7", "type": concept("466086009")}
    request = decoded(patient(), device, pressure("o-1", device={"reference": "Device/d-7"}, method=concept("31813000")))
    assert request["devices"] == [{"id": "d-7", "inflation": "automatic", "method": "oscillometric"}]
    assert request["readings"][0]["device"] == "d-7"


def test_a_period_counts_by_its_beginning():
    period = {"start": "2026-03-01T07:10:00+01:00", "end": "2026-03-01T07:11:00+01:00"}
    observation = {key: value for key, value in pressure("o-1").items() if key != "effectiveDateTime"}
    (reading,) = decoded(patient(), {**observation, "effectivePeriod": period})["readings"]
    assert reading["taken_at"] == period["start"]


@pytest.mark.parametrize(
    ("statement", "part"),
    [
        (condition("77386006"), {"pregnant": True}),
        (condition("77386006", clinical="resolved"), {}),
        (condition("49436004"), {"irregular_pulse_known": True}),
        (condition("29857009", onsetDateTime="2026-03-01"), {"symptoms": [{"symptom": "chest-pain", "on": "2026-03-01"}]}),
        ({**condition("x"), "code": {"text": "Chest pain"}}, {"symptoms": [{"symptom": "chest-pain"}]}),
        ({**condition("x"), "code": {"coding": [{"display": "Seizure"}]}}, {"symptoms": [{"symptom": "seizure"}]}),
        ({**condition("x"), "code": {"text": "No chest pain"}}, {}),
        ({**condition("x"), "code": {"coding": [{"code": "29857009"}]}}, {"symptoms": [{"symptom": "chest-pain"}]}),
        ({**condition("x"), "code": [{"coding": {"code": "29857009", "system": "urn:oid:2.16.840.1.113883.6.96"}}]},
         {"symptoms": [{"symptom": "chest-pain"}]}),
        ({**condition("x"), "code": {"coding": [{"code": "77386006"}]}}, {"pregnant": True}),
        ({**condition("x"), "code": {"coding": [{"code": "N02"}]}}, {}),
        (condition("29857009", clinical="ACTIVE"), {"symptoms": [{"symptom": "chest-pain"}]}),
        (condition("29857009", clinical="Inactive"), {}),
        ({**condition("x", clinical="resolved"), "code": {"text": "Chest pain"}}, {}),
        ({"resourceType": "MedicationStatement", "status": "active", "subject": {"reference": "Patient/p-1"},
          "medicationCodeableConcept": concept("C09AA05", "http://www.whocc.no/atc"),
          "effectivePeriod": {"start": "2026-01-02"}}, {"on_treatment": True, "treatment_since": "2026-01-02"}),
        ({"resourceType": "MedicationStatement", "status": "completed", "subject": {"reference": "Patient/p-1"},
          "medicationCodeableConcept": concept("C09AA05", "http://www.whocc.no/atc")}, {}),
        ({"resourceType": "MedicationStatement", "status": "active", "subject": {"reference": "Patient/p-1"},
          "medicationCodeableConcept": concept("N02BE01", "http://www.whocc.no/atc")}, {}),
        ({"resourceType": "Observation", "status": "final", "subject": {"reference": "Patient/p-1"},
          "code": concept("82810-3", LOINC), "valueCodeableConcept": concept("60001007")}, {"pregnant": False}),
    ],
)  # fmt: skip
def test_what_other_resources_say_of_the_person(statement, part):
    assert decoded(patient(), pressure("o-1"), statement)["subject"] == {"id": "p-1", **part}


@pytest.mark.parametrize(("born", "age"), [("1960-03-01", 66), ("1960-03-02", 65), ("1960", None), ("1960-13-01", None)])
def test_the_age_is_that_on_the_day_of_the_last_reading(born, age):
    content = decoded_subjects(bundle(patient(birthDate=born), pressure("o-1")), codes_of())
    assert content.subjects[0].request["subject"].get("age_years") == age
    assert [issue.expression for issue in content.issues] == ([] if age else ["Bundle.entry[0].resource.birthDate"])


def test_technique_comes_by_the_documented_extension_and_a_wrong_name_in_it_is_named():
    own = {"url": "urn:heartlevel:reading", "extension": [
        {"url": "technique.legs_crossed", "valueBoolean": True}, {"url": "technique.rested_minutes", "valueDecimal": 5},
        {"url": "circumstances", "valueCode": "quiet"}, {"url": "circumstances", "valueCode": "free-day"},
        {"url": "symptoms.none", "valueBoolean": True}, {"url": "technique.legs_crosed", "valueBoolean": True},
    ]}  # fmt: skip
    observation = pressure("o-1")
    observation["extension"] = [*observation["extension"], own]
    (reading,) = decoded(patient(), observation)["readings"]
    assert reading["technique"] == {"legs_crossed": True, "rested_minutes": 5, "legs_crosed": True}
    assert (reading["circumstances"], reading["symptoms"]) == (["quiet", "free-day"], [])
    payload = bundle(patient(), observation)
    (issue,) = assessed(payload).issues
    assert (issue.code, issue.expression) == ("unknown-key", "Bundle.entry[1].resource.extension[1].extension[5].value")


def test_several_values_of_one_component_are_several_readings():
    parts = [component("8480-6", 128), component("8462-4", 78), component("8480-6", 212), component("8462-4", 131)]
    readings = decoded(patient(), pressure("o-1", component=parts))["readings"]
    assert [(one["id"], one["systolic"], one["diastolic"]) for one in readings] == [("o-1", 128, 78), ("o-1-2", 212, 131)]


def test_what_is_withdrawn_is_not_used_and_said():
    payload = bundle(patient(), pressure("o-1"), pressure("o-2", 225, 130, status="entered-in-error"))
    answers = assessed(payload)
    assert answers.answered[0].answer["urgent"] is False
    assert [issue.expression for issue in answers.issues] == ["Bundle.entry[2].resource"]


BROKEN = {
    "no setting": {"extension": []},
    "no time": {"effectiveDateTime": None},
    "a time that is none": {"effectiveDateTime": "soon"},
    "no diastolic pressure": {"component": [component("8480-6", 225)]},
    "a bound": {"component": [component("8480-6", 225, comparator=">"), component("8462-4", 130)]},
    "a text": {"component": [component("8480-6", "225 mmHg"), component("8462-4", 130)]},
    "an unknown unit": {"component": [component("8480-6", 225, code="psi"), component("8462-4", 130, code="psi")]},
    "two units": {"component": [component("8480-6", 225), component("8462-4", 130, code="kPa")]},
    "no panel": {"code": concept("8480-6", LOINC), "valueQuantity": quantity(225), "component": None},
    "a code of its own": {"code": concept("88346-8", LOINC)},
    "no code": {"code": None},
    "codes without their system": {
        "component": [{"code": {"coding": [{"code": "8480-6"}]}, "valueQuantity": quantity(225)}]
    },
    "another address of LOINC": {
        "code": concept("85354-9", "https://loinc.org"),
        "component": [component("8480-6", 225), component("8462-4", 130)],
    },
    "a component without its list": {"component": component("8480-6", 225)},
    "a text for both": {"component": None, "valueString": "225/130"},
    "a number without its quantity": {"component": [{"code": concept("8480-6", LOINC), "valueInteger": 225}]},
    "a modifier": {"modifierExtension": [{"url": "urn:example:not", "valueBoolean": True}]},
    "a modifier of a component": {
        "component": [
            {**component("8480-6", 225), "modifierExtension": [{"url": "urn:example:not", "valueBoolean": True}]},
            component("8462-4", 130),
        ]
    },
    "nobody": {"subject": None},
    "a subject that is none": {"subject": "p-1"},
    "an id that is none": {"id": 7},
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_legible_severe_value_is_urgent_whatever_is_wrong_with_its_resource(kind):
    observation = {key: value for key, value in pressure("o-1", 225, 130, **BROKEN[kind]).items() if value is not None}
    answers = assessed(bundle(patient(), pressure("o-2"), observation))
    urgencies = [one.answer["urgency"]["level"] for one in answers.answered]
    assert urgencies[0] in ("now", "same-day", "cannot-be-told")


@pytest.mark.parametrize("kind", ["a code of its own", "no code", "codes without their system", "another address of LOINC"])
def test_what_no_code_calls_a_reading_is_never_averaged(kind):
    elements = pressure("o-1", 128, 78, **BROKEN[kind])
    answers = assessed(bundle(patient(), {key: value for key, value in elements.items() if value is not None}))
    assert answers.answered[0].answer["counts"]["assessed"] == 0
    (issue,) = [issue for issue in answers.issues if issue.code == "not-one-of"]
    assert issue.expression.removesuffix(".code") == "Bundle.entry[1].resource" and "no reading by its code" in issue.text


@pytest.mark.parametrize("kind", ["a modifier", "a modifier of a component"])
def test_what_an_extension_may_change_is_not_used_and_said(kind):
    """FHIR R4, Extensibility (2.4.2): an element with a modifier extension that is not understood is not processed."""
    answers = assessed(bundle(patient(), pressure("o-1", 128, 78, **BROKEN[kind])))
    assert answers.answered[0].answer["counts"]["assessed"] == 0
    assert any("modifierExtension" in issue.expression for issue in answers.issues)
    pregnant = condition("77386006", modifierExtension=[{"url": "urn:example:not", "valueBoolean": True}])
    answers = assessed(bundle(patient(), pressure("o-1"), pregnant))
    assert "pregnant" not in answers.answered[0].origins.request["subject"]
    assert any("modifierExtension" in issue.text for issue in answers.issues)


@pytest.mark.parametrize("payload", [pressure("o-1", 225, 130), [patient(), pressure("o-1", 225, 130)], {"data": bundle(
    pressure("o-1", 225, 130))}, [], "Bundle"])  # fmt: skip
def test_what_is_no_bundle_is_refused_with_what_is_urgent_in_it(payload):
    issues, level = told_of_no_bundle(payload, rules())
    is_urgent = payload not in ([], "Bundle")
    assert (level != "none", any("225/130" in issue.text and "(in all: 1)" in issue.text for issue in issues)) == (
        is_urgent, is_urgent)  # fmt: skip


def test_a_severe_value_of_nobody_is_urgent_in_what_is_refused():
    nameless = {key: value for key, value in pressure("o-1", 225, 130).items() if key != "subject"}
    answers = assessed(bundle(nameless))
    assert (answers.answered, answers.refused[0]["urgent"]) == ([], True)
    assert any("225/130" in issue.text for issue in answers.issues)


def test_people_are_told_apart_and_references_of_every_form_are_followed():
    entries = [
        {"fullUrl": "http://clinic.example/fhir/Patient/a", "resource": patient("a")},
        {"fullUrl": "urn:uuid:0e5d2b7e-6a0b-4e0c-8a53-1d6a6d1f0001", "resource": patient("b")},
        {"resource": pressure("1", subject={"reference": "http://clinic.example/fhir/Patient/a"})},
        {"resource": pressure("2", subject={"reference": "Patient/a/_history/3"}, day=2)},
        {"resource": pressure("3", subject={"reference": "urn:uuid:0e5d2b7e-6a0b-4e0c-8a53-1d6a6d1f0001"})},
        {"resource": pressure("4", subject={"reference": "#me"}, contained=[patient("me")])},
    ]
    content = decoded_subjects({"resourceType": "Bundle", "type": "searchset", "entry": entries}, codes_of())
    named = {
        one.request["subject"]["id"]: [reading["id"] for reading in one.request["readings"]] for one in content.subjects
    }
    assert named == {"a": ["1", "2"], "b": ["3"], "me": ["4"]}


def test_options_are_parameters_and_a_wrong_one_is_named_where_it_stands():
    payload = parameters(patient(), pressure("o-1"), guideline=("Code", "esc-2042"), colour=("String", "red"))
    answers = assessed(payload)
    assert answers.answered == []
    assert {(issue.code, issue.expression) for issue in answers.issues} == {
        ("not-one-of", "Parameters.parameter[1].value"), (None, "Parameters.parameter[2]"),
    }  # fmt: skip
    right = assessed(parameters(patient(), pressure("o-1"), guideline=("Code", "acc-aha-2017"), language=("Code", "es")))
    assert right.answered[0].answer["made_with"]["language"] == "es"


def test_every_place_of_a_fault_is_there_in_what_was_sent():
    damaged = [pressure(f"o-{index}", 225, 130, **elements) for index, elements in enumerate(BROKEN.values())]
    payload = bundle(patient(birthDate="1960"), *[{k: v for k, v in one.items() if v is not None} for one in damaged],
                     condition(SNOMED), "nothing", {"resourceType": "Encounter"})  # fmt: skip
    issues = assessed(payload).issues
    assert len(issues) > 10
    for issue in issues:
        assert at_path(payload, issue.expression) is not None


def test_people_of_two_servers_with_one_id_are_two_people():
    entries = [
        {"fullUrl": f"http://{server}.example/fhir/{kind}/1", "resource": resource}
        for server in ("a", "b")
        for kind, resource in (
            ("Patient", patient("1")), ("Observation", pressure(server, subject={"reference": "Patient/1"})),
        )
    ]  # fmt: skip
    stranger = {"resource": pressure("c", subject={"reference": "http://c.example/fhir/Patient/1"})}
    content = decoded_subjects({"resourceType": "Bundle", "entry": [*entries, stranger]}, codes_of())
    assert [[reading["id"] for reading in one.request["readings"]] for one in content.subjects] == [["a"], ["b"], ["c"]]


def test_of_two_statements_on_a_pregnancy_the_later_one_counts_and_other_observations_say_nothing_of_it():
    def status(code, day, kind="82810-3"):
        return {"resourceType": "Observation", "status": "final", "code": concept(kind, LOINC), "effectiveDateTime": day,
                "subject": {"reference": "Patient/p-1"}, "valueCodeableConcept": concept(code)}  # fmt: skip

    pregnant, other = status("77386006", "2026-02-01"), status("60001007", "2025-02-01")
    for statements in ((pregnant, other), (other, pregnant)):
        assert decoded(patient(), pressure("o-1"), *statements)["subject"]["pregnant"] is True
    assert "pregnant" not in decoded(patient(), pressure("o-1"), status("77386006", "2026-02-01", "8302-2"))["subject"]


def test_one_unit_in_two_spellings_is_one_unit_and_one_value_with_two_codes_one_value():
    both = {"coding": [{"system": LOINC, "code": "8480-6"}, {"system": LOINC, "code": "8480-6", "display": "systolic"}]}
    parts = [{"code": both, "valueQuantity": quantity(128)}, component("8462-4", 78, code="mmHg")]
    (reading,) = decoded(patient(), pressure("o-1", component=parts))["readings"]
    assert (reading["systolic"], reading["diastolic"], reading["unit"]) == (128, 78, "mm[Hg]")
