"""Codes as data: what is shipped, what a clinic adds, and files that cannot be used."""

import pytest

from exchange.resources import bundle, concept, patient, pressure
from heartlevel.fhir.codes import SHIPPED, WrongCodes, codes_of
from heartlevel.fhir.reading.subjects import decoded_subjects
from heartlevel.web.application import create_app
from heartlevel.web.settings import WrongSettings
from support import rules

OWN = """
systems: {sct: http://snomed.info/sct, own: http://clinic.example/places}
sources: {clinic: our own list of rooms}
codes:
  - {field: setting, value: pharmacy, system: own, code: P1, display: Pharmacy, source: clinic}
  - {field: site, value: left-wrist, system: sct, code: "368209003", display: as our devices send it, source: clinic}
"""


def test_every_shipped_code_names_its_source_and_is_read_as_what_it_is_written_for():
    codes = codes_of()
    assert codes.meanings("http://snomed.info/sct", "368209003") == [("site", "right-upper-arm")]
    assert codes.concept("site", "right-upper-arm")["coding"][0]["code"] == "368209003"
    assert codes.meanings("http://www.whocc.no/atc", "C09AA05") == [("on_treatment", True)]
    assert codes.meanings("http://www.whocc.no/atc", "C10AA05") == []
    assert codes.meanings("http://snomed.info/sct", "C09AA05") == []


def test_what_has_no_published_code_is_written_by_our_own_and_read_again():
    codes = codes_of()
    (coding,) = codes.concept("setting", "work")["coding"]
    assert codes.meanings(coding["system"], coding["code"]) == [("setting", "work")]


def test_a_clinics_codes_count_before_the_shipped_ones(tmp_path):
    path = tmp_path / "codes.yaml"
    path.write_text(OWN, encoding="utf-8")
    observation = pressure("o-1", bodySite=concept("368209003"))
    observation["extension"][0] = {
        **observation["extension"][0],
        "valueCodeableConcept": concept("P1", "http://clinic.example/places"),
    }
    (subject,) = decoded_subjects(bundle(patient(), observation), codes_of(path)).subjects
    assert (subject.request["readings"][0]["setting"], subject.request["readings"][0]["site"]) == ("pharmacy", "left-wrist")


@pytest.mark.parametrize(
    "wrong",
    [
        "field: settin, value: home", "field: setting, value: moon", "field: symptom, value: joy",
        "field: setting, value: home, colour: red",
    ],
)  # fmt: skip
def test_a_service_does_not_start_with_codes_that_say_nothing(tmp_path, wrong):
    path = tmp_path / "codes.yaml"
    entry = f"{{{wrong}, system: sct, code: x, display: x, source: clinic}}"
    path.write_text(f"systems: {{sct: http://snomed.info/sct}}\nsources: {{clinic: x}}\ncodes: [{entry}]", encoding="utf-8")
    with pytest.raises(WrongSettings, match="HEARTLEVEL_FHIR_CODES: .*codes.yaml"):
        create_app({"FHIR_CODES": str(path)}, rules())


@pytest.mark.parametrize("text", ["", "[", "\x00", "codes: 1", "systems: {}\nsources: {}\ncodes: [1]"])
def test_a_file_that_is_none_is_named(tmp_path, text):
    path = tmp_path / "codes.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongCodes, match="codes.yaml"):
        codes_of(path)


def test_the_shipped_file_says_where_each_source_was_looked_up():
    text = SHIPPED.read_text(encoding="utf-8")
    assert all(f"\n  {source}: " in text for source in {part.split("}")[0] for part in text.split("source: ")[1:]})
