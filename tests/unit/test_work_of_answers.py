"""What is done once for all people of a batch, and not once for each: counted in calls, since times are no test."""

from collections import Counter

import pytest

from heartlevel.answer import readings
from heartlevel.answer.whole import answers, written_answers
from heartlevel.assessment import Assessment, assess_requests
from heartlevel.conclusions import numbers
from heartlevel.conclusions.conclude import conclude
from heartlevel.conclusions.followup import devices
from heartlevel.intake.request import read
from heartlevel.ruling.language.template import Template
from heartlevel.vocabulary import PRESSURES
from support import calls_of, demo, rules, week

ONCE = (numbers.all_rounded, numbers.mappings_rounded)
FAULTS = {"back_supported": False, "arm_height_cm": -12}


def people(count: int) -> list[dict]:
    """People who differ in name alone, each with faults of technique at every reading."""
    whole = week(7, ((138, 82), (126, 81)), technique=FAULTS)
    return [whole | {"subject": whole["subject"] | {"id": f"s-{number}"}} for number in range(count)]


def assessed(payloads: list[dict]) -> Assessment:
    return assess_requests([read(payload, rules().ruleset.choices) for payload in payloads], rules())


def calls(payloads: list[dict], *functions) -> Counter:
    """Return how often functions are called while people are concluded on and answered."""
    assessment, written = assessed(payloads), []
    counted = calls_of(lambda: written.extend(written_answers(conclude(assessment))), *functions)
    assert len(written) == len(payloads)
    return counted


def test_no_text_is_taken_apart_for_an_answer():
    assert calls(demo(), Template.__init__, Template.filled).keys() == {"filled"}


@pytest.mark.parametrize("function", ONCE, ids=lambda function: function.__name__)
def test_what_many_people_share_is_done_once(function):
    few, many = calls(people(2), function), calls(people(9), function)
    assert few == many
    assert few


def test_a_fault_is_worded_once_for_all_readings_of_a_person_and_shared_with_nobody():
    assert calls(people(3), readings._error).total() == 3 * len(FAULTS)
    first, second = (answer["readings"][0]["expected_errors"] for answer in answers(assessed(people(2))))
    first[0].clear()
    assert second[0]


def test_only_the_pressures_of_a_persons_sides_and_amounts_of_faults_are_rounded_by_themselves():
    few, many = calls(people(2), numbers.rounded), calls(people(9), numbers.rounded)
    assert (many - few).total() == (9 - 2) * (len(PRESSURES) + 1)


def test_devices_are_looked_at_of_who_used_several():
    assert not calls(people(3), devices._compared)
    several = {"devices": [{"id": "d-1"}, {"id": "d-2"}]}
    whole = people(1)[0] | several
    both = [one | {"device": f"d-{1 + place % 2}"} for place, one in enumerate(whole["readings"])]
    assert calls([whole | {"readings": both}, *people(2)], devices._compared).total() == 1
