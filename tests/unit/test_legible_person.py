"""What is legible of a person counts for urgency in whatever shape it is sent; what is not said is not made up."""

import json
from collections.abc import Iterator
from copy import deepcopy
from functools import reduce
from typing import Any

import pytest

from heartlevel.intake.texts.legible_person import legible_person
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.vocabulary import SYMPTOMS, URGENCY_LEVELS
from heartlevel.web.application import create_app
from support import answer, as_ndjson, reading, rules

AT = "2026-03-04T07:10:00+01:00"
DAY = AT[:10]


def sent(subject: dict, systolic: int, diastolic: int, **more) -> dict:
    return {"subject": {"id": "s-1", **subject}, "readings": [reading(AT, systolic, diastolic, **more)]}


# Each is as urgent as it is only with what is said of the person, or beside the pressure.
SAID = {
    "a symptom of a day": sent({"symptoms": [{"symptom": "chest-pain", "on": DAY}]}, 192, 121),
    "a symptom": sent({"symptoms": [{"symptom": "speech-difficulty"}]}, 142, 91),
    "a symptom with a reading": sent({}, 192, 121, symptoms=["vision-change"]),
    "pregnancy": sent({"pregnant": True}, 164, 112),
    "after birth": sent({"days_since_birth": 5}, 164, 112),
    "a symptom in pregnancy": sent({"pregnant": True, "symptoms": [{"symptom": "vision-change"}]}, 118, 74),
    "fainting": sent({"fainting": True}, 88, 52),
}


def ways_within(value: Any, way: tuple = ()) -> Iterator[tuple]:
    yield way
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from ways_within(item, (*way, key))


def with_value(payload: dict, way: tuple, value: object) -> dict:
    changed = deepcopy(payload)
    reduce(lambda at, key: at[key], way[:-1], changed)[way[-1]] = value
    return changed


def renamed(payload: dict, way: tuple, name: str) -> dict:
    changed = deepcopy(payload)
    holder = reduce(lambda at, key: at[key], way[:-1], changed)
    holder[name] = holder.pop(way[-1])
    return changed


def other_shapes(payload: dict) -> Iterator[tuple[str, dict]]:
    """Yield the request with one part of what is said in another shape, or under a name that is nearly its own."""
    ways = [way for way in ways_within(payload) if way[:1] == ("subject",) or "symptoms" in way]
    for way in ways[1:] if ways[0] == () else ways:
        value = reduce(lambda at, key: at[key], way, payload)
        shapes = {"a list": [value], "lists": [[value]], "an object": {"value": value}, "a key": {"x": value},
                  "JSON": value if isinstance(value, str) else json.dumps(value)}  # fmt: skip
        if isinstance(value, list):
            shapes |= {"beside junk": [{"y": 5}, *value, 7], "lone": value[0], "by name": {"a": value[0]}}
        if value is True:
            shapes |= {"yes": "yes", "one": 1, "Y": "Y"}
        if isinstance(value, dict) and "symptom" in value:
            shapes |= {"its name": value["symptom"], "as a key": {value["symptom"]: True}}
        for shape, changed in shapes.items():
            yield f"{way} as {shape}", with_value(payload, way, changed)
        if way[-1] in ("subject", "symptoms", "symptom", "pregnant", "days_since_birth", "fainting"):
            name = str(way[-1])
            for other in (name.upper(), name.title(), name[:-2] + name[-1] + name[-2], name.replace("_", "-") + "s"):
                yield f"{way} named {other}", renamed(payload, way, other)


def levels_of(client, payloads: list[dict]) -> list[int]:
    lines = client.post("/v1/assessments", data=as_ndjson(payloads), content_type="application/x-ndjson").text.splitlines()
    return [URGENCY_LEVELS.index(json.loads(line)["urgency"]["level"]) for line in lines]


@pytest.fixture(scope="module")
def client():
    return create_app({"TESTING": False, "RELOAD_SECONDS": 0}, rules()).test_client()


@pytest.mark.parametrize("said", SAID)
def test_what_is_said_of_a_person_counts_in_whatever_shape_it_is_sent(client, said):
    payload = SAID[said]
    names, payloads = zip(*other_shapes(payload), strict=True)
    (least, unsaid), levels = levels_of(client, [payload, without_what_is_said(payload)]), levels_of(client, [*payloads])
    assert least < unsaid
    assert [name for name, level in zip(names, levels, strict=True) if level > least] == []


def without_what_is_said(payload: dict) -> dict:
    (plain,) = ({key: value for key, value in item.items() if key != "symptoms"} for item in payload["readings"])
    return {"subject": {"id": "s-1"}, "readings": [plain]}


def test_a_fault_is_named_where_what_is_legible_counts():
    given = answer(sent({"symptoms": ["chest pain"]}, 192, 121))
    assert given["urgency"]["level"] == "now" and "chest pain" in given["urgency"]["text"]
    assert [(fault["pointer"], fault["code"]) for fault in given["problems"]] == [("/subject/symptoms/0", "not-an-object")]


def test_a_symptom_of_another_day_is_not_one_of_this():
    entry = {"symptom": "chest-pain", "on": "2026-02-01", "note": "x"}
    assert answer(sent({"symptoms": [entry]}, 192, 121))["urgency"]["level"] == "same-day"


@pytest.mark.parametrize("name", SYMPTOMS)
def test_every_symptom_is_legible_by_its_name_and_a_letter_away(name):
    for text in (name, name.upper(), name.replace("-", " "), f" {name};"):
        assert legible_person({"Symptoms": text}) == {"symptoms": [{"symptom": name}]}
    if len(name.replace("-", "")) > 6:
        for text in (name[:-1], f"{name}s", name[1] + name[0] + name[2:], f"x{name[1:]}"):
            assert legible_person({"symptom": text}) == {"symptoms": [{"symptom": name}]}, text


@pytest.mark.parametrize("sent", [
    {"symptoms": "no chest pain"}, {"symptoms": "denies headache and dizziness"}, {"symptoms": ["knee pain", "tall"]},
    {"symptoms": {"chest-pain": False, "seizure": None}}, {"symptoms": []}, {"history": ["chest-pain"]}, "chest-pain",
    {"pregnant": False}, {"pregnant": "no"}, {"pregnant": "?"}, {"pregnant": 0}, {"pregnancies": 2}, {"fasting": True},
    {"fainting": "never"}, {"days_since_birth": None}, {"days_since_birth": "long ago"}, {"birth_date": "1990-01-05"},
    {"age_years": 31}, None, 5, [], {}, "symptoms: none",
])  # fmt: skip
def test_what_is_not_said_is_not_made_up(sent):
    assert legible_person(sent) == {}


@pytest.mark.parametrize(("text", "details"), [
    ('{"subject": {"id": "s", "symptoms": ["chest-pain", "fal', {"symptoms": [{"symptom": "chest-pain"}]}),
    ('{"subject": {"pregnant": true, "symptoms": [], "fainting": false', {"pregnant": True}),
    ('"days_since_birth": 9, "symptoms": "seizure, nausea"', {
        "days_since_birth": 9.0, "symptoms": [{"symptom": "seizure"}, {"symptom": "nausea"}]}),
    ('{"symptoms": [{"symptom": "vomiting", "on": "2026-03-04"}], "fainting": true', {
        "symptoms": [{"symptom": "vomiting"}], "fainting": True}),
])  # fmt: skip
def test_of_a_text_that_is_cut_off_what_is_said_of_the_person_is_legible(text, details):
    assert legible_person(legible_in(text.encode())["subject"]) == details


@pytest.mark.parametrize("end", [40, 60, 200])
def test_a_request_cut_off_after_a_severe_reading_is_as_urgent_as_what_is_said_before_it(client, end):
    text = json.dumps(
        {"subject": {"id": "s-1", "symptoms": ["chest-pain"]}, "readings": [reading(AT, 192, 121)], "x": "x" * 300}
    )
    refused = client.post("/v1/assessments", data=text[:-end], content_type="application/json").json
    assert refused["urgency"]["level"] == "now" and "chest pain" in refused["urgency"]["text"]


@pytest.mark.parametrize("written", ["nausea", "nuseaa", "nausae", "nauseea"])
def test_a_symptom_of_which_a_letter_is_elsewhere_or_wrong_is_legible(written):
    assert legible_person({"symptoms": [written]}) == {"symptoms": [{"symptom": "nausea"}]}
