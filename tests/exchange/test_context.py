"""What stands around a reading in FHIR: its Encounter, cuff, interpretation and period."""

import pytest

from exchange.resources import LOINC, at_path, bundle, component, concept, parameters, patient, pressure
from exchange.test_codes import OWN
from heartlevel.fhir.call import fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.reading.subjects import decoded_subjects
from support import rules

ACT = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
# The guide "Vital Signs with Qualifying Elements": its example BPDevice2-example, and its LOINC code for the same.
CUFF_EXTENSION = "http://hl7.org/fhir/us/vitals/StructureDefinition/bp-cuff-size-ext"
ADULT_CUFF = concept("720737000")


def encounter(code: str, system: str = ACT) -> dict:
    return {"resourceType": "Encounter", "id": "e-1", "status": "finished", "class": {"system": system, "code": code},
            "subject": {"reference": "Patient/p-1"}}  # fmt: skip


def during(code: str, **more) -> list[dict]:
    nowhere = pressure("o-1", extension=[], encounter={"reference": "Encounter/e-1"}, **more)
    return [patient(), encounter(code), nowhere]


def readings(payload, codes=None) -> list[dict]:
    (subject,) = decoded_subjects(payload, codes or codes_of()).subjects
    return subject.request["readings"]


@pytest.mark.parametrize(("code", "setting"), [("AMB", "office"), ("HH", "home")])
def test_an_encounter_tells_where_a_reading_was_taken_that_does_not_say_it(code, setting):
    # HL7 FHIR R4, v3-ActCode: AMB is care in a facility, such as a practitioner's office; HH is in the person's residence.
    assert readings(bundle(*during(code)))[0]["setting"] == setting
    assert readings(parameters(*during(code), setting=("Code", "pharmacy")))[0]["setting"] == setting


def test_the_observation_itself_counts_before_its_encounter():
    at_home = pressure("o-1", encounter={"reference": "Encounter/e-1"})
    assert readings(bundle(patient(), encounter("AMB"), at_home))[0]["setting"] == "home"


@pytest.mark.parametrize("code", ["VR", "PRENC", "X"])
def test_a_class_that_tells_no_setting_leaves_the_parameter(code):
    assert "setting" not in readings(bundle(*during(code)))[0]
    assert readings(parameters(*during(code), setting=("Code", "office")))[0]["setting"] == "office"


@pytest.mark.parametrize("code", ["IMP", "EMER", "ACUTE"])
def test_a_stay_in_hospital_is_no_office_but_what_is_severe_is_told(code):
    ward = during(code)
    ward[-1]["component"] = [component("8480-6", 225), component("8462-4", 130)]
    payload = parameters(*ward, pressure("o-2", day=2), setting=("Code", "office"), as_of=("Date", "2026-03-01"))
    answers = fhir_answers(payload, rules(), codes_of())
    (issue,) = (issue for issue in answers.issues if issue.code == "not-one-of")
    assert at_path(payload, issue.expression) == {"system": ACT, "code": code}
    assert answers.answered[0].answer["urgent"] and answers.answered[0].answer["counts"]["lost"] == 1


def test_a_clinics_codes_may_say_that_a_ward_is_its_office(tmp_path):
    path = tmp_path / "codes.yaml"
    path.write_text(
        f"systems: {{act: {ACT}}}\nsources: {{clinic: our ward}}\n"
        "codes: [{field: setting, value: office, system: act, code: IMP, display: x, source: clinic}]"
    )
    assert readings(bundle(*during("IMP")), codes_of(path))[0]["setting"] == "office"


def cuffed(size, **more) -> dict:
    cuff = {"code": concept("8358-4", LOINC), "valueCodeableConcept": size}
    return pressure("o-1", component=[component("8480-6", 128), component("8462-4", 78), cuff], **more)


def test_a_cuff_by_name_says_no_circumference_and_that_is_told_once():
    content = decoded_subjects(bundle(patient(), cuffed(ADULT_CUFF), cuffed(ADULT_CUFF, day=2)), codes_of())
    assert content.subjects[0].request["devices"] == []
    (issue,) = content.issues
    assert "cuff.arm_min_cm" in issue.text and issue.expression == "Bundle.entry[1].resource.component[2].value"


@pytest.fixture(scope="module")
def cuff_codes(tmp_path_factory):
    path = tmp_path_factory.mktemp("codes") / "codes.yaml"
    sizes = [("cuff.arm_min_cm", 22), ("cuff.arm_max_cm", 32)]
    entries = "".join(f"  - {{field: {name}, value: {cm}, system: sct, code: '720737000', display: as printed on ours, "
                      f"source: clinic}}\n" for name, cm in sizes)  # fmt: skip
    path.write_text(OWN + entries)
    return codes_of(path)


def test_what_a_cuff_is_at_a_clinic_its_codes_say(cuff_codes):
    printed = {"arm_min_cm": 22, "arm_max_cm": 32}
    (subject,) = decoded_subjects(bundle(patient(), cuffed(ADULT_CUFF)), cuff_codes).subjects
    (device,) = subject.request["devices"]
    assert device["cuff"] == printed and subject.request["readings"][0]["device"] == device["id"]
    owned = {
        "resourceType": "Device",
        "id": "d-7",
        "extension": [{"url": CUFF_EXTENSION, "valueCodeableConcept": ADULT_CUFF}],
    }
    content = bundle(patient(), owned, pressure("o-1", device={"reference": "Device/d-7"}))
    assert decoded_subjects(content, cuff_codes).subjects[0].request["devices"] == [{"id": "d-7", "cuff": printed}]


def test_a_device_with_another_cuff_is_another(cuff_codes):
    with_it = cuffed(ADULT_CUFF, device={"reference": "Device/d-7"})
    without = pressure("o-2", day=2, device={"reference": "Device/d-7"})
    for order in ([with_it, without], [without, with_it]):
        (subject,) = decoded_subjects(bundle(patient(), *order), cuff_codes).subjects
        assert {device["id"]: "cuff" in device for device in subject.request["devices"]} == {
            "Device/d-7 cuff 720737000": True, "Device/d-7": False,
        }  # fmt: skip


def interpreted(name: str, code: str, **more) -> dict:
    system = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
    return pressure(name, interpretation=[concept(code, system)], **more)


def test_an_interpretation_is_told_and_judges_nothing():
    payload = bundle(patient(), *(interpreted(f"o-{day}", "H", day=day) for day in (1, 2, 3)))
    plain = bundle(patient(), *(pressure(f"o-{day}", day=day) for day in (1, 2, 3)))
    told, untold = (fhir_answers(content, rules(), codes_of()) for content in (payload, plain))
    assert told.answered[0].answer == untold.answered[0].answer
    (issue,) = told.issues
    assert "interpretations H: 3" in issue.text and issue.severity == "information"
    assert issue.expression == "Bundle.entry[1].resource.interpretation[0]"


@pytest.mark.parametrize("code", ["HH", "LL", "AA"])
def test_one_that_is_critical_is_a_warning_each_time(code):
    payload = bundle(patient(), interpreted("o-1", code), interpreted("o-2", code, day=2), interpreted("o-3", "N", day=3))
    warnings = [issue for issue in fhir_answers(payload, rules(), codes_of()).issues if issue.severity == "warning"]
    assert [issue.expression for issue in warnings] == [f"Bundle.entry[{n}].resource.interpretation[0]" for n in (1, 2)]


@pytest.mark.parametrize(
    ("end", "told"),
    [
        ("2026-03-01T07:20:00+01:00", False),
        ("2026-03-08T07:10:00+01:00", True),
        ("soon", False),
        ("2026-03-01T09:00:00", False),
    ],
)
def test_a_period_of_hours_is_named_as_no_measurement(end, told):
    observation = {key: value for key, value in pressure("o-1").items() if key != "effectiveDateTime"}
    period = {"start": "2026-03-01T07:10:00+01:00", "end": end}
    issues = decoded_subjects(bundle(patient(), {**observation, "effectivePeriod": period}), codes_of()).issues
    assert [issue.expression for issue in issues] == ["Bundle.entry[1].resource.effective"] * told
