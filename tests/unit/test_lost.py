"""Readings that cannot be used: what is legible of them, what is said of it, and how they are counted."""

import json

import pandas as pd
import pytest

from heartlevel.frames import assess_frame
from heartlevel.intake.lost import legible_numbers
from heartlevel.intake.ndjson import parsed_json
from heartlevel.intake.texts.legible_object import pairs_within
from heartlevel.web.application import create_app
from support import answer, reading, rules, rules_fired, week

TIME = "2026-03-09T07:10:00+01:00"
KPA = 7.50064  # mm of mercury in a kilopascal, by UCUM


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


@pytest.mark.parametrize(
    ("sent", "systolic", "diastolic"),
    [
        (225, 225, 225), (225.5, 225.5, 225.5), ("225", 225, 225), (" 225 ", 225, 225), ("225 mmHg", 225, 225),
        ("ca. 225", 225, 225), ("225mmHg", 225, 225),
        ("22,5", 22.5, 22.5), ("225/130", 225, 130), ("225 / 130 mmHg", 225, 130), (410, 410, 410),
        (0, 0, 0), (2250, 220, 220), (1420, 120, 120), (1005, 100, 100), (1420.5, None, None), (14200, None, None),
        (10**400, None, None), (-225, None, None), ("-225", None, None), ("22O", None, None), ("2 25", None, None),
        ("1,420", None, None), ("225 then 210", None, None), ("", None, None), ("9" * 41, None, None), (True, None, None),
        (None, None, None), ([225], None, None), ({}, None, None), (float("nan"), None, None), (float("inf"), None, None),
    ],
)  # fmt: skip
def test_a_number_is_legible_where_whoever_looks_at_it_reads_one(sent, systolic, diastolic):
    expected = [[] if number is None else [number] for number in (systolic, diastolic)]
    assert [legible_numbers(sent, "systolic"), legible_numbers(sent, "diastolic")] == expected


def lost(**sent) -> dict:
    """The answer to a good day and a reading with something in it that cannot be read."""
    more = {name: value for name, value in sent.items() if name not in ("systolic", "diastolic")}
    other = reading(TIME, sent.get("systolic"), sent.get("diastolic"), **more)
    return answer({**week(1), "readings": [*week(1)["readings"], other]})


def urgent_rules(whole: dict) -> set[str]:
    return {one["rule"] for one in whole["findings"] if one["urgent"]}


@pytest.mark.parametrize(
    ("systolic", "diastolic", "urgent"),
    [(180, 90, True), (179.9, 119.9, False), (150, 120, True), (None, 120, True), (180, None, True), (None, 119, False),
     (179, None, False), (79, 50, True), (80, 50, False), (79, None, True), (None, 45, False), (84, 132, False),
     (118, 196, True), (120, 150, True), (130, 130, False), (190, 190, True), (19, 125, True)],
)  # fmt: skip
def test_the_limits_are_those_of_readings_that_can_be_used(systolic, diastolic, urgent):
    """Swapped, equal and short numbers too: what makes a slip urgent in a reading that is used makes it so here."""
    whole = lost(systolic=systolic, diastolic=diastolic, setting="hme")
    assert whole["urgent"] == urgent
    if systolic is not None and diastolic is not None:
        assert urgent == lost(systolic=systolic, diastolic=diastolic)["urgent"]


@pytest.mark.parametrize(
    ("systolic", "diastolic", "unit", "expected"),
    [
        (24.0, 16.0, "kpq", {"lost-unit-may-hide-severe"}),
        (24.0, 16.0, None, {"lost-unit-may-hide-severe"}),  # no unit sent: mm[Hg] by the contract, and impossible
        (24.0, 16.0, "kPa", {"lost-reading-severe"}),
        (17.9, 11.9, "kpq", set()),
        (18.0, 11.9, "kpq", {"lost-unit-may-hide-severe"}),  # in centimetres of mercury
        (17.3, 11.0, "kPa", set()),
        (225, 130, "kpq", {"lost-reading-severe"}),  # no blood pressure in kPa
        (225, 130, "kPa", {"lost-reading-severe"}),
        (150, 90, "kPa", set()),
        (None, 16.0, "kpq", {"lost-unit-may-hide-severe"}),
        (None, 16.0, None, set()),
    ],
)
def test_a_value_whose_unit_cannot_be_told_is_urgent_where_one_unit_makes_it_severe(systolic, diastolic, unit, expected):
    whole = lost(systolic=systolic, diastolic=diastolic, unit=unit, setting="hme")
    assert urgent_rules(whole) == expected
    told = [one["explanation"] for one in whole["findings"] if one["rule"] == "lost-unit-may-hide-severe"]
    assert all("cannot be told" in text for text in told)
    if told and systolic:
        assert f"{systolic * KPA:.1f}".removesuffix(".0") in told[0]


def test_what_one_lost_reading_shows_hides_nothing_of_another():
    pairs = [(24.0, 16.0), (72, 40), (190, 100), (1420, 80), (130, 80)]
    many = [reading(TIME, *pair, setting="hme", id=f"x-{place}") for place, pair in enumerate(pairs)]
    whole = answer({**week(1), "readings": [*week(1)["readings"], *many]})
    assert urgent_rules(whole) == {"lost-unit-may-hide-severe", "lost-reading-very-low", "lost-reading-severe"}
    assert len([one for one in whole["findings"] if one["rule"] in urgent_rules(whole)]) == 3  # one a rule
    (severe,) = [one for one in whole["findings"] if one["rule"] == "lost-reading-severe"]
    assert severe["facts"]["lost_highest_systolic"] == 190
    assert "could not be used: 5 of 9 sent." in severe["explanation"]


def test_a_child_is_not_called_very_low_and_is_still_severe():
    child = {"subject": {"id": "s", "age_years": 9}}
    low, high = reading(TIME, 72, 40, setting="hme"), reading(TIME, 190, 100, setting="hme")
    assert urgent_rules(answer({**child, "readings": [low]})) == set()
    assert urgent_rules(answer({**child, "readings": [high]})) == {"lost-reading-severe"}


def test_a_pressure_under_a_misspelt_name_is_legible():
    misspelt = {"taken_at": TIME, "setting": "home", "systolc": 225, "Diastolic": "130"}
    (finding,) = [one for one in answer({**week(1), "readings": [misspelt]})["findings"] if one["urgent"]]
    assert (finding["facts"]["lost_highest_systolic"], finding["facts"]["lost_highest_diastolic"]) == (225, 130)


SEVERE, LOW, UNTOLD = "lost-reading-severe", "lost-reading-very-low", "lost-unit-may-hide-severe"
PAYLOADS = ["00 D2 00 78 00 00 00", "00 46 00 32 00 00 00", "00 78 00 50 00 00 00"]  # 210/120, 70/50 and 120/80 mmHg


@pytest.mark.parametrize(
    ("sent", "urgent"),
    [
        ('"systolic": 210, "systolic": 75, "diastolic": 60', {SEVERE, LOW}),
        ('"systolic": 75, "systolic": 120, "diastolic": 60', {LOW}),
        ('"systolic": 120, "systolic": "70 mmHg", "systolic": null, "diastolic": 60', {LOW}),
        ('"systolic": 120, "systolic": 70, "diastolic": 80', set()),  # 70/80 is the wrong way round, not low
        ('"systolic": 75, "diastolic": 80, "diastolic": 50', {LOW}),
        ('"systolic": 120, "diastolic": 70, "diastolic": 125', {SEVERE}),
        ('"systolic": 120, "systolic": 19, "diastolic": 8', {UNTOLD}),  # 190/80 in centimetres of mercury
        ('"systolic": 80, "systolic": 179.9, "diastolic": 60', set()),
        ('"systolic": 100, "systolic": 24, "systolic": 20, "unit": "kPa", "unit": "kPa", "diastolic": 12', {UNTOLD}),
        ('"systolic": 24, "systolic": 20, "unit": "kPa", "unit": "kPa", "diastolic": 12', {SEVERE}),
        ('"systolic": 24, "diastolic": 12, "unit": "kPa", "unit": "mm[Hg]"', {UNTOLD}),
        (", ".join(f'"systolic": {number}' for number in (210, *range(100, 130), 72)) + ', "diastolic": 60', {SEVERE, LOW}),
        (f'"payload": "{PAYLOADS[0]}", "payload": "{PAYLOADS[2]}"', {SEVERE}),
        (f'"payload": "{PAYLOADS[2]}", "payload": "{PAYLOADS[1]}"', {LOW}),
        (f'"payload": "{PAYLOADS[2]}", "payload": "no bytes"', set()),
        ('"payload": "no bytes", "payload": 5', set()),
    ],
)  # fmt: skip
def test_of_a_repeated_key_each_value_is_looked_at_the_low_as_the_high(sent, urgent):
    whole = answer(parsed_json(f'{{"subject": {{"id": "s"}}, "readings": [{{"setting": "home", {sent}}}]}}'.encode()))
    assert urgent_rules(whole) == urgent
    assert whole["counts"]["lost"] == 1
    told = [(fault["pointer"], fault["code"]) for fault in whole["problems"] if fault["code"] == "key-repeated"]
    assert told and len(told) == len(set(told))


@pytest.mark.parametrize(
    "symptoms", ['["chest-pain"], "symptoms": []', '[], "symptoms": ["chest-pain", 5]', '"Chest pain"']
)
@pytest.mark.parametrize("setting", ["home", "hme"])
def test_a_symptom_that_is_legible_counts_whatever_else_is_wrong_with_the_list(symptoms, setting):
    sent = f'{{"setting": "{setting}", "taken_at": "{TIME}", "systolic": 185, "diastolic": 80, "symptoms": {symptoms}}}'
    whole = answer(parsed_json(f'{{"subject": {{"id": "s"}}, "readings": [{sent}]}}'.encode()))
    assert whole["urgency"]["level"] == "now"
    assert "/readings/0/symptoms" in [fault["pointer"] for fault in whole["problems"]]


def test_a_symptom_of_a_day_is_legible_where_the_list_is_there_twice():
    sent = f'"symptoms": [{{"symptom": "chest-pain", "on": "{TIME[:10]}"}}], "symptoms": []'
    whole = answer(parsed_json(f'{{"subject": {{"id": "s", {sent}}}, "readings": []}}'.encode()))
    assert (whole["urgency"]["level"], whole["problems"][0]["code"]) == ("same-day", "key-repeated")


def test_every_reading_sent_is_counted_where_it_belongs():
    good = week(1)["readings"]
    bad = [5, {**good[0], "setting": "hme"}, {**good[0], "setting": "office", "systolic": 5000, "taken_at": "soon"},
           {**good[0], "id": "copy"}, {**good[0], "taken_at": "soon", "setting": "Work "}]  # fmt: skip
    whole = answer({**week(1), "readings": [*good, *bad]})
    assert whole["counts"] == {
        "received": 9, "assessed": 4, "lost": 5,
        "by_setting": {
            "home": {"received": 5, "assessed": 4, "lost": 1}, "office": {"received": 1, "assessed": 0, "lost": 1},
            "work": {"received": 1, "assessed": 0, "lost": 1}, "unknown": {"received": 2, "assessed": 0, "lost": 2},
        },
        "lost_because": {"exact-duplicate": 1, "not-a-time": 1, "not-an-object": 1, "not-one-of": 1, "out-of-range": 1},
    }  # fmt: skip
    (finding,) = [one for one in whole["findings"] if one["rule"] == "readings-not-used"]
    assert finding["severity"] == "low" and "could not be used: 4 of 9 sent." in finding["explanation"]


def test_where_nothing_is_lost_nothing_is_said_of_it():
    whole = answer({**week(1), "readings": [*week(1)["readings"], week(1)["readings"][0]]})
    assert "readings-not-used" not in rules_fired(whole)  # a copy is no loss
    assert not answer(week(1))["counts"]["lost"]
    assert answer({**week(1), "readings": []})["counts"] == {
        "received": 0, "assessed": 0, "lost": 0, "by_setting": {}, "lost_because": {},
    }  # fmt: skip


WRITTEN = [("unit", value, "mm[Hg]") for value in ("mmHg", "mm Hg", "MMHG", "MM[HG]", " mm[hg]")]
WRITTEN += [("setting", value, "home") for value in ("Home ", "HOME", "home\t")]
WRITTEN += [("site", value, "left-upper-arm") for value in ("Left upper arm", "left_upper_arm", "LEFT UPPER-ARM")]
WRITTEN += [("systolic", value, 142) for value in ("142", " 142.0", "142,0", "1.42e2")]
WRITTEN += [("technique.talking", value, True) for value in ("true", "TRUE", " True ")]


@pytest.mark.parametrize(("name", "written", "meant"), WRITTEN)
def test_a_value_written_otherwise_means_the_same_through_every_door(client, name, written, meant):
    outer, _, inner = name.partition(".")

    def asked(value):
        own = {outer: {inner: value} if inner else value}
        return {**week(1), "readings": [{**reading(TIME, 142, 88, unit="mm[Hg]"), **own}]}

    whole = answer(asked(written))
    assert (whole, whole["problems"]) == (answer(asked(meant)), [])
    assert client.post("/v1/assessments", json=asked(written)).json == whole
    row = {"subject": "s-1", "taken_at": TIME, "systolic": 142, "diastolic": 88, "setting": "home"}
    tables = [assess_frame(pd.DataFrame([{**row, name: value}]), rules()) for value in (written, meant)]
    assert len(tables[0].problems) == 0
    for part in ("readings", "findings", "averages", "subjects"):
        pd.testing.assert_frame_equal(getattr(tables[0], part), getattr(tables[1], part))


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity", "1e999", "9" * 500])
@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson"])
def test_what_json_has_not_costs_its_own_value(client, value, kind):
    payload = week(1)
    payload["readings"][1]["pulse"] = payload["readings"][2]["systolic"] = "here"
    body = json.dumps(payload).replace('"here"', value).encode()
    found = parsed_json(client.post("/v1/assessments", data=body, content_type=kind).data)
    assert {one["pointer"] for one in found["problems"]} == {"/readings/1/pulse", "/readings/2/systolic"}
    assert (found["counts"]["assessed"], found["counts"]["lost"]) == (3, 1)


@pytest.mark.parametrize(
    "body", [b"[" * 2000 + b"NaN" + b"]" * 2000, b"[NaN," + b"[" * 200_000, b'{"a": NaN', b'{"a": NaN, "\xff"}']
)
def test_a_body_that_is_no_json_beside_a_nan_is_refused_as_ever(client, body):
    response = client.post("/v1/assessments", data=body, content_type="application/json")
    assert (response.status_code, response.content_type) == (400, "application/problem+json")


def metric(client, name: str) -> float:
    text = client.get("/metrics").text
    return float(next(line for line in text.splitlines() if line.startswith(f"{name} ")).split()[1])


def test_readings_received_assessed_and_lost_are_counted_for_the_operator(client):
    names = [f"heartlevel_readings_{part}total" for part in ("", "received_", "lost_")]
    before = [metric(client, name) for name in names]
    client.post("/v1/assessments", json={**week(1), "readings": [*week(1)["readings"], 5, {}]})
    assert [metric(client, name) - count for name, count in zip(names, before, strict=True)] == [4, 6, 2]


def test_no_value_of_a_lost_reading_goes_into_a_log(client, caplog):
    with caplog.at_level("DEBUG"):
        client.post("/v1/assessments", json={**week(1), "readings": [reading(TIME, 227, 131, setting="hme")]})
    assert "/v1/assessments" in caplog.text and not any(text in caplog.text for text in ("227", "131", "hme"))


@pytest.mark.parametrize("count", [40, 4_000])
def test_of_many_names_of_pressures_the_lowest_and_the_highest_numbers_are_paired(count):
    """Each number of one pressure was paired with each of the other: of a few thousand names millions of readings."""
    many = {f"systolic{n}": 120 + n % 35 for n in range(count)} | {f"diastolic{n}": 70 + n % 25 for n in range(count)}
    for sent in (many | {"systolic": 231, "diastolic": 41}, {"value": many | {"systolic": 231, "diastolic": 41}}):
        pairs = pairs_within(sent)
        assert len(pairs) == 6 * 6
        assert {(231, 41), (120, 94)} <= set(pairs)
