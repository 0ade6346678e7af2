"""Rules whose firing is nothing amiss: told as notes, never as findings, with the step they ask for."""

import pytest
import yaml

from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.faults import RuleFaults
from support import OWN_RULE, answer, rules_fired, week


def test_what_is_missing_for_a_comparison_is_a_note_with_its_step():
    found = answer(week())
    notes = {note["rule"]: note for note in found["notes"]}
    assert notes["no-office-readings"]["told_in"] == "next-steps"
    assert "no-office-readings" not in rules_fired(found)
    (step,) = [one for one in found["next_steps"] if one["code"] == "confirm-in-office"]
    assert (step["because"], step["rules"]) == ([], ["no-office-readings"])


def test_the_level_is_a_note_that_names_its_numbers():
    found = answer(week(pressures=((141, 82), (139, 81))))
    explained = {note["rule"]: note["explanation"] for note in found["notes"]}
    assert "140/81.5 mmHg" in explained["home-pressure-raised"]
    assert found["classification"]["raised"] and "home-pressure-raised" not in rules_fired(found)


def test_a_note_concerns_no_reading_by_name():
    found = answer(week(pressures=((141, 82), (139, 81))))
    names = {finding["id"] for finding in found["findings"]}
    assert {name for one in found["readings"] for name in one["findings"]} <= names


@pytest.mark.parametrize("change", [{"urgent": True}, {"effect": "doubtful"}])
def test_what_is_urgent_or_makes_readings_doubtful_cannot_be_told_as_a_note(tmp_path, change):
    (rule,) = yaml.safe_load(OWN_RULE)
    (tmp_path / "reading").mkdir()
    (tmp_path / "layer.yaml").write_text('name: Clinic\nrevision: "1"\nchanges: []\n')
    (tmp_path / "reading" / "ours.yaml").write_text(yaml.safe_dump([rule | {"told_in": "next-steps"} | change]))
    with pytest.raises(RuleFaults, match="always a finding"):
        load(None, [tmp_path])
