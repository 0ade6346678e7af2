"""What can be wrong with a request: every code at its exact place, slips named and never corrected, limits held."""

from copy import deepcopy
from itertools import permutations
from typing import Any

import orjson
import pytest

from heartlevel import RefusedRequest, TooManyReadings, answer_to
from heartlevel.answer.whole import as_json
from heartlevel.intake.faults import DETAILS
from heartlevel.web.application import create_app
from support import answer, reading, rules, rules_fired, week

GONE = object()
SECOND = ("readings", 1)
TWELVE = {"id": "d-12", "placement": "upper-arm"}


def good() -> dict:
    """One day at home and nothing wrong with it."""
    payload = week(1, device="d-1", technique={"talking": False}, circumstances=["stress"])
    whole = {**payload, "devices": [{"id": "d-1"}, TWELVE], "device_checks": []}
    return orjson.loads(orjson.dumps(whole))  # nothing in it is shared, so that a change stays where it is made


def changed(*changes: tuple[tuple, Any]) -> dict:
    payload = good()
    for (*way, name), value in changes:
        holder: Any = payload
        for key in way:
            holder = holder[key]
        if value is GONE:
            del holder[name]
        else:
            holder[name] = value
    return payload


def place(*path: Any) -> str:
    return "".join(f"/{key}" for key in path)


def told(payload: dict) -> list[tuple[str, str]]:
    """Return places and codes of everything found wrong, whether or not the request was refused."""
    try:
        return [(one["pointer"], one["code"]) for one in answer(payload)["problems"]]
    except RefusedRequest as refusal:
        return [(one.pointer, one.code) for one in refusal.problems]


def hints(payload: dict) -> list[str | None]:
    return [one["hint"] for one in answer(payload)["problems"]]


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
    ("not-a-number", (*SECOND, "systolic"), "142"),
    ("not-a-number", (*SECOND, "pulse"), True),
    ("not-a-number", ("subject", "age_years"), float("nan")),
    ("not-true-or-false", (*SECOND, "technique", "talking"), 0),
    ("not-true-or-false", ("options", "strict"), "false"),
    ("not-a-text", (*SECOND, "id"), 12),
    ("not-a-text", (*SECOND, "id"), "\ud800"),
    ("text-length", (*SECOND, "id"), ""),
    ("text-length", ("subject", "id"), "s" * 65),
    ("not-one-of", (*SECOND, "setting"), "Home"),
    ("not-one-of", (*SECOND, "unit"), "mmHg"),
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
    ("no-such-local-time", (*SECOND, "taken_at"), "2026-03-29T02:30:00"),
    ("ambiguous-local-time", (*SECOND, "taken_at"), "2026-10-25T02:30:00"),
    ("unknown-time-zone", ("options", "time_zone"), "Oslo"),
    ("unknown-device", (*SECOND, "device"), "d-7"),
    ("id-repeated", (*SECOND, "id"), "r-0-7-0"),
]


@pytest.mark.parametrize(("code", "path", "value"), CASES, ids=[f"{code}:{place(*path)}" for code, path, _ in CASES])
def test_each_fault_is_told_once_with_its_code_at_its_place(code, path, value):
    assert told(changed((path, value))) == [(place(*path), code)]


# Faults that are told of another place than the one changed, or of two.
WIDER: list[tuple[str, dict, list[tuple[str, str]]]] = [
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
    ("missing", {**good(), "device_checks": [{"device": "d-1", "pairs": None, "sequence": None}]},
     [("/device_checks/0/pairs", "missing")]),
]  # fmt: skip


@pytest.mark.parametrize(("code", "payload", "expected"), WIDER, ids=[code for code, *_ in WIDER])
def test_faults_between_several_places_are_told_at_each(code, payload, expected):
    assert told(payload) == expected


def test_every_code_there_is_has_a_request_that_brings_it_about():
    assert {code for code, *_ in CASES} | {code for code, *_ in WIDER} == set(DETAILS)


def test_the_good_request_has_no_problem():
    assert told(good()) == []


MANY_FAULTS = changed(
    ((*SECOND, "systolic"), "142"), (("readings", 0, "technique", "talking"), 1), (("readings", 2, "device"), "d-9"),
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


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False, "MAX_CONTENT_LENGTH": 20_000}, rules())


@pytest.mark.parametrize("payload", [MANY_FAULTS, *(wide for _, wide, _ in WIDER)])
def test_a_strict_request_is_refused_with_all_its_problems(client, payload):
    lenient = answer(payload)["problems"]
    strict = {**payload, "options": {**payload["options"], "strict": True}}
    with pytest.raises(RefusedRequest) as refusal:
        answer(strict)
    assert [one.as_dict() for one in refusal.value.problems] == lenient
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


SLIPS = [
    (80, 120, ["pressures-swapped"], "systolic"),
    (120, 120, ["pressures-equal"], "systolic"),
    (14, 90, ["systolic-digit-missing"], "systolic"),
    (142, 8, ["diastolic-digit-missing"], "diastolic"),
    (18.7, 12, ["entered-in-centimetres-of-mercury", "entered-in-kilopascals"], "systolic"),
    (30, 18, ["entered-in-kilopascals"], "systolic"),
    (8, 3, ["entered-in-centimetres-of-mercury"], "systolic"),
]


@pytest.mark.parametrize(("systolic", "diastolic", "names", "field"), SLIPS)
def test_a_likely_slip_is_a_finding_and_a_problem_and_no_number_is_altered(systolic, diastolic, names, field):
    whole = answer(changed(((*SECOND, "systolic"), systolic), ((*SECOND, "diastolic"), diastolic)))
    assert [(one["pointer"], one["code"]) for one in whole["problems"]] == [(place(*SECOND, field), name) for name in names]
    assert set(names) <= rules_fired(whole)
    assert [one["readings"] for one in whole["findings"] if one["rule"] in names] == [["r-0-7-1"]] * len(names)
    (found,) = [one for one in whole["readings"] if one["id"] == "r-0-7-1"]
    assert (found["systolic"], found["diastolic"], found["reliability"]) == (systolic, diastolic, "unusable")
    (others,) = [one for one in whole["averages"] if one["basis"] == "sound"]
    assert others["readings"] == 3


@pytest.mark.parametrize(
    ("written", "meant"),
    [(1422, "122 or 142"), (1240, "120 or 124 or 140 or 240"), (1182, "112 or 118 or 182")],
)
def test_a_doubled_or_added_digit_is_told_with_what_one_digit_fewer_would_give(written, meant):
    payload = changed(((*SECOND, "systolic"), written))
    assert told(payload) == [("/readings/1/systolic", "out-of-range")]
    assert hints(payload) == [f"a digit too many? {meant}"]


def test_a_reading_dated_after_the_assessment_is_a_finding_and_a_problem():
    payload = changed((("options", "as_of"), "2026-03-01"), ((*SECOND, "taken_at"), "2026-03-02T00:10:00+01:00"))
    assert told(payload) == [("/readings/1/taken_at", "dated-after-assessment")]
    assert "dated-after-assessment" in rules_fired(answer(payload))
    # The day is the zone's: the same instant written in UTC is still 1 March there.
    utc = changed((("options", "as_of"), "2026-03-01"), ((*SECOND, "taken_at"), "2026-03-01T23:10:00Z"))
    assert told(utc) == told(payload)
    assert told(changed((("options", "as_of"), "2026-03-02"), ((*SECOND, "taken_at"), "2026-03-02T23:59:59"))) == []


@pytest.mark.parametrize(
    ("path", "value", "hint"),
    [
        ((*SECOND, "sistolic"), 1, "did you mean 'systolic'?"),
        ((*SECOND, "setting"), "Hom", "did you mean 'home'?"),
        ((*SECOND, "device"), "d-2", "did you mean 'd-12'?"),
        ((*SECOND, "unit"), "psi", "one of: mm[Hg], kPa"),
    ],
)
def test_a_near_name_is_suggested(path, value, hint):
    assert hints(changed((path, value))) == [hint]


DEVICES = [{"id": "d-1", "placement": "wrist"}, {"id": "d-2", "inflation": "manual"},
           {"id": "d-3", "cuff": {"arm_min_cm": 22, "arm_max_cm": 26}}, TWELVE]  # fmt: skip


def with_devices(devices: list[dict], stranger: str = "d-4") -> dict:
    """Each reading with another device, one with a stranger's; "d-4" is equally near to several of them."""
    payload = {**good(), "devices": list(devices)}
    payload["subject"] = {**payload["subject"], "arm_circumference_cm": {"left": 31}}
    for one, name in zip(payload["readings"], ["d-1", "d-2", "d-3", stranger], strict=True):
        one |= {"device": name, "site": "left-upper-arm"}
    return payload


@pytest.mark.parametrize(("stranger", "hint"), [("d-4", "did you mean 'd-3'?"), ("kitchen", "one of: d-1, d-12, d-2, d-3")])
def test_the_order_of_devices_never_changes_the_answer(stranger, hint):
    whole = {as_json(answer(with_devices(list(order), stranger))) for order in permutations(DEVICES)}
    assert len(whole) == 1
    assert told(with_devices(DEVICES, stranger)) == [("/readings/3/device", "unknown-device")]
    assert hints(with_devices(DEVICES, stranger)) == [hint]


def test_the_order_of_devices_of_one_name_never_decides_which_is_used():
    twins = [{"id": "d-3", "cuff": {"arm_min_cm": 26, "arm_max_cm": 36}}, *DEVICES[:3]]
    one_of_each = [{as_json(answer(with_devices([*twins[1:3], twin])))} for twin in (twins[0], twins[3])]
    assert one_of_each[0] != one_of_each[1]  # it would matter which is used
    answers = [answer(with_devices(list(order))) for order in permutations(twins)]
    # Problems of the list itself name places in it, so they move with the devices; all others stay.
    elsewhere = [[one for one in whole["problems"] if not one["pointer"].startswith("/devices")] for whole in answers]
    assert elsewhere == elsewhere[:1] * len(answers)
    assert len({as_json({**whole, "problems": []}) for whole in answers}) == 1
    assert all(len(whole["problems"]) == 3 for whole in answers)


@pytest.mark.parametrize("most", [0, 3])
def test_more_readings_than_allowed_are_too_many(most):
    with pytest.raises(TooManyReadings):
        answer_to(good(), rules(), most)


def test_as_many_readings_as_allowed_are_assessed():
    assert len(answer_to(good(), rules(), 4)["readings"]) == 4


def test_too_many_readings_over_http_are_a_413(client):
    client.application.config["MAX_CONTENT_LENGTH"], before = 2**20, client.application.config["MAX_CONTENT_LENGTH"]
    response = client.post("/v1/assessments", json={"subject": {"id": "s"}, "readings": [0] * 5001})
    client.application.config["MAX_CONTENT_LENGTH"] = before
    assert (response.status_code, response.content_type) == (413, "application/problem+json")
    assert response.json["detail"] == "5001 readings; one request may hold 5000"


@pytest.mark.parametrize(("longer", "status"), [(0, 200), (1, 413)])
def test_a_body_over_the_limit_is_a_413(client, longer, status):
    body = as_json(good())
    body += b" " * (20_000 - len(body) + longer)
    response = client.post("/v1/assessments", data=body, content_type="application/json")
    assert response.status_code == status
    if status == 413:
        assert (response.content_type, response.json["status"]) == ("application/problem+json", 413)


def test_asking_never_alters_the_request():
    payload = changed(((*SECOND, "unit"), "kPa"), ((*SECOND, "systolic"), 18.7), ((*SECOND, "diastolic"), 12))
    before = deepcopy(payload)
    answer(payload)
    assert payload == before


def test_what_makes_nothing_of_a_reading_leaves_the_others():
    whole = answer({**good(), "readings": [None, reading("2026-03-02T07:10:00Z", 142, 88, id="a"), 5, [], {}]})
    assert [one["id"] for one in whole["readings"]] == ["a"]
    assert {one["pointer"].split("/")[2] for one in whole["problems"]} == {"0", "2", "3", "4"}
