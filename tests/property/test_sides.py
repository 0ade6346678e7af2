"""Adding a fault never makes a pattern appear, nor a category where there was none; shuffling changes nothing of sides."""

from copy import deepcopy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from support import answer, reading, week

FAULTS = {
    "arm low": {"arm_height_cm": -15}, "arm high": {"arm_height_cm": 15}, "talking": {"talking": True},
    "legs crossed": {"legs_crossed": True}, "no rest": {"rested_minutes": 0}, "tense": {"arm_relaxed": False},
    "full bladder": {"full_bladder": True}, "back": {"back_supported": False},
}  # fmt: skip
BIASES = {"reads high": 12, "reads low": -12}
PAIRS = [(systolic, round(systolic * 0.6)) for systolic in (118, 126, 129, 131, 134, 138, 146, 170)]
TECHNIQUES = st.dictionaries(st.sampled_from(["home", "office"]), st.lists(st.sampled_from(list(FAULTS)), max_size=3))


def person(home, office, faults) -> dict:
    technique = {
        where: {key: value for name in names for key, value in FAULTS[name].items()} for where, names in faults.items()
    }
    payload = week(pressures=(home, home), device="d-1", technique=technique.get("home", {}))
    payload["readings"] += [
        reading(f"2026-03-10T10:{2 * at:02d}:00+01:00", *office, setting="office", device="d-2",
                technique=technique.get("office", {}))
        for at in range(3)
    ]  # fmt: skip
    return payload | {"devices": [{"id": "d-1"}, {"id": "d-2"}], "device_checks": []}


def failing(payload: dict, device: str, bias: int) -> dict:
    pairs = [{"device": {"systolic": 130 + at + bias, "diastolic": 80 + bias},
              "reference": {"systolic": 130 + at, "diastolic": 80}} for at in range(6)]  # fmt: skip
    return payload | {"device_checks": [*payload["device_checks"], {"device": device, "pairs": pairs}]}


def claims(payload: dict) -> tuple[bool, bool, bool]:
    found = answer(payload)
    label = found["pattern"]["label"] != "undetermined"
    return label, found["classification"]["category"] is not None, bool(found["classification"].get("holds"))


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(PAIRS), st.sampled_from(PAIRS), TECHNIQUES, st.sampled_from(list(FAULTS)),
       st.sampled_from(["home", "office"]))  # fmt: skip
def test_one_more_technique_fault_claims_nothing_new(home, office, faults, added, where):
    more = deepcopy(faults)
    names = more.setdefault(where, [])
    # An arm can hang low or high, not both at once.
    if added.startswith("arm") and any(name.startswith("arm") for name in names):
        return
    names.append(added)
    before, after = claims(person(home, office, faults)), claims(person(home, office, more))
    assert [new for was, new in zip(before, after, strict=True) if new and not was] == []


@settings(deadline=None, max_examples=25)
@given(st.sampled_from(PAIRS), st.sampled_from(PAIRS), TECHNIQUES, st.sampled_from(["d-1", "d-2"]),
       st.sampled_from(list(BIASES)))  # fmt: skip
def test_a_device_that_fails_its_check_claims_nothing_new(home, office, faults, device, bias):
    payload = person(home, office, faults)
    before, after = claims(payload), claims(failing(payload, device, BIASES[bias]))
    assert [new for was, new in zip(before, after, strict=True) if new and not was] == []


@settings(deadline=None, max_examples=15)
@given(st.sampled_from(PAIRS), st.sampled_from(PAIRS), TECHNIQUES, st.randoms(use_true_random=False))
def test_sides_are_the_same_in_whatever_order_readings_come(home, office, faults, chance):
    payload = failing(person(home, office, faults), "d-2", 12)
    shuffled = deepcopy(payload)
    chance.shuffle(shuffled["readings"])
    one, other = answer(payload), answer(shuffled)
    assert (one["sides"], one["pattern"]["unfit"]) == (other["sides"], other["pattern"]["unfit"])


@pytest.mark.parametrize(("home", "office", "label"), [((124, 74), (150, 92), "office-only-elevation"),
                                                       ((138, 86), (122, 74), "home-only-elevation")])  # fmt: skip
def test_without_faults_there_is_something_to_take_away(home, office, label):
    assert answer(person(home, office, {}))["pattern"]["label"] == label
