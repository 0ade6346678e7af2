"""Likely slips, named and never corrected, and names that are near to what is allowed."""

from itertools import permutations

import pytest

from heartlevel.answer.whole import as_json
from support import answer, rules_fired
from unit.sent import SECOND, TWELVE, changed, good, place, told


def hints(payload: dict) -> list[str | None]:
    return [one["hint"] for one in answer(payload)["problems"]]


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
    assert all(len([at for one in whole["problems"] for at in one["places"]]) == 3 for whole in answers)
