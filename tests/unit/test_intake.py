"""What can be wrong with a request: every code at its exact place, all at once, strict or not."""

from copy import deepcopy
from typing import Any

import pytest

from heartlevel import RefusedRequest
from heartlevel.answer.whole import as_json
from heartlevel.intake.faults import DETAILS, problems_written
from heartlevel.web.application import create_app
from support import answer, reading, rules
from unit.sent import GONE, SECOND, changed, good, place, told

# code, path of the change, value put there; the problem is expected at the path changed.
CASES: list[tuple[str, tuple, Any]] = [
    ("missing", (*SECOND, "systolic"), GONE),
    ("missing", ("subject", "id"), GONE),
    ("missing", ("subject",), GONE),
    ("missing", ("readings",), GONE),
    ("null", (*SECOND, "taken_at"), None),
    ("null", ("readings",), None),
    ("unknown-key", (*SECOND, "sistolic"), 1),
    ("unknown-key", (*SECOND, "technique", "talkin"), False),
    ("unknown-key", ("options", "timezone"), "Europe/Oslo"),
    ("unknown-key", ("reading",), []),
    ("unknown-key", (*SECOND, "_schema"), 1),
    ("not-an-object", SECOND, [120, 80]),
    ("not-an-object", (*SECOND, "technique"), "sitting"),
    ("not-an-object", ("subject",), "s-1"),
    ("not-an-object", ("devices", 1), "d-12"),
    ("not-a-list", ("readings",), {"id": "r-1"}),
    ("not-a-list", ("devices",), "d-1"),
    ("not-a-list", (*SECOND, "circumstances"), "stress"),
    ("not-a-number", (*SECOND, "systolic"), "14O"),
    ("not-a-number", (*SECOND, "systolic"), "1,420"),
    ("not-a-number", (*SECOND, "pulse"), True),
    ("not-a-number", ("subject", "age_years"), float("nan")),
    ("not-true-or-false", (*SECOND, "technique", "talking"), 0),
    ("not-true-or-false", ("options", "strict"), "no"),
    ("not-a-text", (*SECOND, "id"), 12),
    ("not-a-text", (*SECOND, "id"), "\ud800"),
    ("text-length", (*SECOND, "id"), ""),
    ("text-length", ("subject", "id"), "s" * 65),
    ("not-one-of", (*SECOND, "setting"), "hme"),
    ("not-one-of", (*SECOND, "unit"), "psi"),
    ("not-one-of", (*SECOND, "circumstances", 0), "stressed"),
    ("not-one-of", ("options", "protocol"), "aha-ama-2200"),
    ("out-of-range", (*SECOND, "systolic"), 1240),
    ("out-of-range", (*SECOND, "pulse"), 10**400),
    ("out-of-range", ("subject", "age_years"), -1),
    ("too-many", (*SECOND, "circumstances"), ["stress"] * 21),
    ("too-many", ("subject", "avoid_arms"), ["left", "right", "left"]),
    ("not-a-date", ("options", "as_of"), "2026-02-30"),
    ("not-a-date", ("options", "as_of"), "20260302"),
    ("not-a-date", ("options", "as_of"), "2026-W10"),
    ("not-a-date", ("devices", 0, "checked_on"), "2026-99-99"),
    ("not-a-time", (*SECOND, "taken_at"), "2026-03-02"),
    ("not-a-time-of-day", ("subject", "usual_waking"), "7:30"),
    ("not-a-time-of-day", ("subject", "usual_sleep"), "24:00"),
    ("no-such-local-time", (*SECOND, "taken_at"), "2026-03-29T02:30:00"),
    ("ambiguous-local-time", (*SECOND, "taken_at"), "2026-10-25T02:30:00"),
    ("unknown-time-zone", ("options", "time_zone"), "Oslo"),
    ("unknown-device", (*SECOND, "device"), "d-7"),
    ("id-repeated", (*SECOND, "id"), "r-0-7-0"),
]


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": 20_000}, rules())


@pytest.mark.parametrize(("code", "path", "value"), CASES, ids=[f"{code}:{place(*path)}" for code, path, _ in CASES])
def test_each_fault_is_told_once_with_its_code_at_its_place(code, path, value):
    assert told(changed((path, value))) == [(place(*path), code)]


# Faults that are told of another place than the one changed, or of two.
WIDER: list[tuple[str, dict, list[tuple[str, str]]]] = [
    ("ends-before-it-begins", {**good(), "periods": [{"name": "before", "from": "2026-03-02", "to": "2026-03-01"}]},
     [("/periods/0/to", "ends-before-it-begins")]),
    ("no-offset", changed((("options",), {}), ((*SECOND, "taken_at"), "2026-03-02T07:10:00")),
     [("/readings/1/taken_at", "no-offset")]),
    ("exact-duplicate", {**good(), "readings": [*good()["readings"], {**good()["readings"][0], "id": "r-9"}]},
     [("/readings/4", "exact-duplicate")]),
    ("unit-mistaken", changed(((*SECOND, "unit"), "kPa")),
     [("/readings/1/diastolic", "unit-mistaken"), ("/readings/1/systolic", "unit-mistaken")]),
    ("id-repeated", changed((("devices", 1, "id"), "d-1")),
     [("/devices/0/id", "id-repeated"), ("/devices/1/id", "id-repeated")]),
    ("unknown-device", {**good(), "device_checks": [{"device": "d-9", "pairs": []}]},
     [("/device_checks/0/device", "unknown-device")]),
    ("not-both", {**good(), "device_checks": [{"device": "d-1", "pairs": [], "sequence": []}]},
     [("/device_checks/0/sequence", "not-both")]),
    *[(code, changed((SECOND, {"payload": text, "setting": "home", "taken_at": "2026-03-02T07:10:00Z"})),
       [("/readings/1/payload", code)]) for code, text in [
          ("payload-not-bytes", "zz"), ("payload-too-short", "02800052006100"), ("payload-too-long", "00800052006100ff"),
          ("no-measured-value", "0080000008ff07")]],
    ("another-user", {**good(), "readings": [
        {"payload": f"08800052006100{user}", "setting": "home", "taken_at": f"2026-03-0{day}T07:10:00Z"}
        for day, user in ((1, "01"), (2, "01"), (3, "02"))]}, [("/readings/2/payload", "another-user")]),
    ("too-many-names", changed((SECOND, good()["readings"][1] | {f"n{number:02}": 1 for number in range(51)})),
     [("/readings/1", "too-many-names"), *((f"/readings/1/n{number:02}", "unknown-key") for number in range(50))]),
    ("missing", {**good(), "device_checks": [{"sequence": None}]},
     [("/device_checks/0/device", "missing"), ("/device_checks/0/pairs", "missing")]),
    ("missing", {**good(), "device_checks": [{"device": "d-1", "pairs": None, "sequence": None}]},
     [("/device_checks/0/pairs", "missing")]),
]  # fmt: skip


@pytest.mark.parametrize(("code", "payload", "expected"), WIDER, ids=[code for code, *_ in WIDER])
def test_faults_between_several_places_are_told_at_each(code, payload, expected):
    assert told(payload) == expected


def test_every_code_there_is_has_a_request_that_brings_it_about():
    of_texts = {"key-repeated", "faults-not-named"}  # tests/web/test_bodies.py, tests/web/test_costs.py
    assert {code for code, *_ in CASES} | {code for code, *_ in WIDER} == set(DETAILS) - of_texts


def test_the_good_request_has_no_problem():
    assert told(good()) == []


MANY_FAULTS = changed(
    ((*SECOND, "systolic"), "142 mmHg"), (("readings", 0, "technique", "talking"), 1), (("readings", 2, "device"), "d-9"),
    (("readings", 3, "diastolic"), 130), (("devices", 1, "method"), "guessing"),
)  # fmt: skip
MANY_TOLD = [("/devices/1/method", "not-one-of"), ("/readings/0/technique/talking", "not-true-or-false"),
             ("/readings/1/systolic", "not-a-number"), ("/readings/2/device", "unknown-device"),
             ("/readings/3/systolic", "pressures-swapped")]  # fmt: skip


def test_all_faults_are_told_at_once_in_the_order_of_their_places():
    assert told(MANY_FAULTS) == MANY_TOLD


@pytest.mark.parametrize(
    ("payload", "places"),
    [
        ({"subject": {}, "readings": 5}, ["/readings", "/subject/id"]),
        ({"subject": {"pregnant": "yes"}, "readings": []}, ["/subject/id", "/subject/pregnant"]),
        ({"subject": {"id": "s"}, "devices": 5, "readings": {}, "device_checks": ""},
         ["/device_checks", "/devices", "/readings"]),
        ({"subject": {"id": 5, "age_years": -1}, "readings": [{}], "extra": 1,
          "options": {"as_of": "soon", "guideline": "mine"}},
         ["/extra", "/options/as_of", "/options/guideline", "/readings/0/diastolic", "/readings/0/setting",
          "/readings/0/systolic", "/readings/0/taken_at", "/subject/age_years", "/subject/id"]),
    ],
)  # fmt: skip
def test_a_refused_request_is_told_all_its_faults_at_once(payload, places):
    assert [pointer for pointer, _ in told(payload)] == places


@pytest.mark.parametrize("payload", [MANY_FAULTS, *(wide for _, wide, _ in WIDER)])
def test_a_strict_request_is_refused_with_all_its_problems(client, payload):
    lenient = answer(payload)["problems"]
    strict = {**payload, "options": {**payload["options"], "strict": True}}
    with pytest.raises(RefusedRequest) as refusal:
        answer(strict)
    assert problems_written(refusal.value.problems) == lenient
    response = client.post("/v1/assessments", json=strict)
    assert (response.status_code, response.content_type) == (422, "application/problem+json")
    assert (response.json["status"], response.json["problems"]) == (422, lenient)


def test_a_strict_request_without_a_fault_is_answered_as_any_other():
    payload = good()
    assert as_json(answer({**payload, "options": {**payload["options"], "strict": True}})) == as_json(answer(payload))


def test_a_circumstance_that_cannot_be_read_is_unknown_and_not_absent():
    """The list holds more than could be read, so nothing may be concluded from what it seems to leave out."""
    payload = good()
    payload["readings"] = [{**one, "circumstances": ["quiet", "stres"]} for one in payload["readings"]]
    unknown = {**payload, "readings": [{**one, "circumstances": None} for one in payload["readings"]]}
    missing = {one["item"] for one in answer(unknown)["undocumented"]}
    assert "circumstance_pain" in missing
    assert {one["item"] for one in answer(payload)["undocumented"]} >= missing


def test_asking_never_alters_the_request():
    payload = changed(((*SECOND, "unit"), "kPa"), ((*SECOND, "systolic"), 18.7), ((*SECOND, "diastolic"), 12))
    before = deepcopy(payload)
    answer(payload)
    assert payload == before


def test_what_makes_nothing_of_a_reading_leaves_the_others():
    whole = answer({**good(), "readings": [None, reading("2026-03-02T07:10:00Z", 142, 88, id="a"), 5, [], {}]})
    assert [one["id"] for one in whole["readings"]] == ["a"]
    assert {at.split("/")[2] for one in whole["problems"] for at in one["places"]} == {"0", "2", "3", "4"}
