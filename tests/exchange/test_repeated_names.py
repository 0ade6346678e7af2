"""Names that stand more than once in one object of what is sent as FHIR: nothing is lost by it, and each place is told."""

import json

import pytest

from exchange.resources import at_path, parameters, patient, pressure
from heartlevel.fhir.call import fhir_answers
from heartlevel.fhir.codes import codes_of
from heartlevel.fhir.limits import MOST_COMPONENTS
from heartlevel.intake.request import TooManyReadings
from heartlevel.intake.texts.json_text import parsed_json
from support import rules

SENT = json.dumps(parameters(patient(), pressure("o-1", 225, 130)), separators=(",", ":"))
CALM = json.dumps(pressure("o-1", 120, 80), separators=(",", ":"))
OBSERVATION = json.dumps(pressure("o-1", 225, 130), separators=(",", ":"))
SYSTOLIC = '"valueQuantity":{"value":225'
AT = "Parameters.parameter[0].resource.entry[1].resource"
# What is written in place of what, where it is told, and whether the reading is assessed.
TWICE = {
    "a value": (SYSTOLIC, '"valueQuantity":{"value":120,"value":225', f"{AT}.component[0].value.value", False),
    "a low value": (SYSTOLIC, '"valueQuantity":{"value":120,"value":70', f"{AT}.component[0].value.value", False),
    "a quantity": (SYSTOLIC, '"valueQuantity":{"value":120},"valueQuantity":{"value":225', f"{AT}.component[0].value",
                   False),
    "no components": ('"component":', '"component":[],"component":', f"{AT}.component", True),
    "components that are none": ('"component":', '"component":5,"component":', f"{AT}.component", True),
    "a code": ('"code":', '"code":{},"code":', f"{AT}.code", True),
    "a status": ('"status":"final"', '"status":"final","status":"entered-in-error"', f"{AT}.status", True),
    "a time": ('"effectiveDateTime":', '"effectiveDateTime":"2026-03-02T07:10:00+01:00","effectiveDateTime":',
               f"{AT}.effective", False),
    "a type": ('"resourceType":"Observation"', '"resourceType":"Observation","resourceType":"Observation"',
               f"{AT}.resourceType", True),
    "a resource": (OBSERVATION, f'{CALM},"resource":{OBSERVATION}', AT, True),
    "entries": ('"entry":', '"entry":[],"entry":', "Parameters.parameter[0].resource.entry", True),
    "parameters": ('"parameter":', '"parameter":[],"parameter":', "Parameters.parameter", True),
    "the outermost type": ('"resourceType":"Parameters"', '"resourceType":"Parameters","resourceType":"Parameters"',
                           "Parameters.resourceType", True),
}  # fmt: skip


def answered(text: str):
    return fhir_answers(parsed_json(text.encode()), rules(), codes_of())


@pytest.mark.parametrize("kind", TWICE)
def test_a_name_that_stands_twice_is_told_once_and_mutes_nothing(kind):
    before, after, place, is_assessed = TWICE[kind]
    assert SENT.count(before) >= 1
    position = SENT.rindex(before) if kind in ("a code", "a status", "no components") else SENT.index(before)
    if kind == "a code":
        position = SENT.index(before, SENT.index('"status"'))
    answers = answered(SENT[:position] + after + SENT[position + len(before) :])
    (person,) = answers.answered
    assert person.answer["urgent"] and bool(person.answer["counts"]["assessed"]) == is_assessed
    assert [issue.expression for issue in answers.issues].count(place) == 1
    assert at_path(json.loads(SENT), place) is not None


def test_what_is_put_together_counts_against_the_limits():
    parts = ",".join(['{"code":{}}'] * (MOST_COMPONENTS // 2 + 1))
    with pytest.raises(TooManyReadings):
        answered(SENT.replace('"component":', f'"component":[{parts}],"component":[{parts}],"component":'))


def test_of_very_many_it_is_told_how_many_there_are():
    many = ",".join(f'"x{number}":1,"x{number}":2' for number in range(80))
    issues = answered(SENT.replace('"status"', f'{many},"status"')).issues
    assert len(issues) == 51 and issues[-1].text.endswith(": 30")
    deep = answered(SENT.replace('"status"', '"x":' + '{"y":1,"y":' * 300 + "1" + "}" * 300 + ',"status"'))
    assert deep.answered[0].answer["urgent"]
