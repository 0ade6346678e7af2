"""What is urgent stays urgent whatever else cannot be read: of the reading, beside it, of devices and of the person."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from tempfile import TemporaryDirectory

import orjson
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heartlevel.web.application import create_app
from property.damage import GONE, LIST_JUNK, NO_TIMES, NUMBER_JUNK, OBJECT_JUNK, STRANGE_KEYS, TEXT_JUNK, junk_for, nested
from property.test_every_door import Table, by_csv, by_frame
from support import answer, examples, reading, rules, week

SOME = settings(max_examples=examples(150), deadline=None, suppress_health_check=list(HealthCheck))
FEW = settings(max_examples=examples(30), deadline=None, suppress_health_check=list(HealthCheck))
URGENT = [(225, 130), (182, 84), (150, 121), (74, 40), (410, 120)]
TIME = "2026-03-04T07:10:00+01:00"
WHOLE = {"id": "r-x", "device": "d-1", "unit": "mm[Hg]", "pulse": 66, "site": "left-upper-arm", "taken_by": "self",
         "circumstances": ["stress"], "technique": {"talking": False, "arm_height_cm": 0}}  # fmt: skip
UNREADABLE = {
    "setting": ["hme", None, GONE, *TEXT_JUNK.values()],
    "taken_at": [*NO_TIMES, "2026-03-04T07:10:00", None, GONE, *TEXT_JUNK.values()],
    "unit": ["mmGh", "psi", *TEXT_JUNK.values()],
    "id": list(TEXT_JUNK.values()), "device": ["d-9", *TEXT_JUNK.values()], "site": ["left arm", *TEXT_JUNK.values()],
    "pulse": list(NUMBER_JUNK.values()), "circumstances": [["stres"], *LIST_JUNK.values()],
    "symptoms": [["chest pian"], *LIST_JUNK.values()],
    "technique": list(OBJECT_JUNK.values()), "device_status": list(OBJECT_JUNK.values()),
}  # fmt: skip
# A number of which nothing is legible, beside one that is severe by itself.
ILLEGIBLE = [None, GONE, "", "x", "22O", True, [1], {"value": 1}, float("nan"), float("inf"), "NaN", nested(50), 10**400]
BESIDE = [None, 5, [], {}, "x", {"systolic": 120}, {**reading(TIME, 128, 82), "setting": "hme"}]
DEVICES = [None, {}, {"id": 5}, {"id": "d-1"}, {"id": "d-2", "cuff": 7}, {"id": "d-2", "method": "guess"}]
PERSON = [
    {"symptoms": "pain"},
    {"symptoms": [5, {"on": "2026-03-04"}]},
    {"symptoms": [{"symptom": "headach"}]},
    {"age_years": "old"},
    {"pregnant": 1},
    {"pregnnt": True},
    {"frail": "so-so"},
    {"avoid_arms": ["rihgt"]},
]
FIRST_STEPS = {"now": "call-emergency-services", "within-days": "see-within-days"}


@st.composite
def urgent_and_damaged(draw: Callable) -> tuple[dict, dict]:
    """A request in which one reading is urgent, and the same with things in it and beside it that cannot be read."""
    systolic, diastolic = draw(st.sampled_from(URGENT))
    sound = {**week(2), "devices": [{"id": "d-1"}]}
    sound["readings"] = [*sound["readings"], {**reading(TIME, systolic, diastolic), **WHOLE}]
    broken = deepcopy(sound)
    urgent = broken["readings"][-1]
    names = draw(st.lists(st.sampled_from(sorted(UNREADABLE)), min_size=1, max_size=3, unique=True))
    damage = {name: draw(st.sampled_from(UNREADABLE[name])) for name in names}
    if (systolic, diastolic) == (225, 130) and draw(st.booleans()):
        damage[draw(st.sampled_from(["systolic", "diastolic"]))] = draw(st.sampled_from(ILLEGIBLE))
    for name, value in damage.items():
        urgent[name] = value
        if value is GONE:
            del urgent[name]
    if draw(st.booleans()):
        urgent[draw(st.sampled_from(STRANGE_KEYS[2:]))] = 1
    broken["readings"] += draw(st.lists(st.sampled_from(BESIDE), max_size=2))
    broken["devices"] += draw(st.lists(st.sampled_from(DEVICES), max_size=2))
    broken["subject"] |= draw(st.sampled_from([{}, {}, *PERSON]))
    return sound, broken


def urgent_ones(whole: dict) -> list[dict]:
    return [one for one in whole["findings"] if one["urgent"]]


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


@SOME
@given(urgent_and_damaged())
def test_nothing_that_cannot_be_read_turns_urgent_off(case):
    sound, broken = case
    assert answer(sound)["urgent"]
    found = answer(broken)
    assert found["urgent"] and urgent_ones(found)
    pregnant = {"pregnant", "pregnnt"} & set(broken["subject"])  # which is legible there
    step = FIRST_STEPS.get(found["urgency"]["level"], "repeat-at-once")
    assert found["next_steps"][0]["code"] == ("contact-maternity-unit" if pregnant else step)
    assert found["counts"]["received"] == len(broken["readings"])


@FEW
@given(urgent_and_damaged())
def test_nor_does_it_over_http_or_in_a_stream(client, case):
    body = json.dumps(case[1]).encode()
    whole = client.post("/v1/assessments", data=body, content_type="application/json")
    lines = client.post("/v1/assessments", data=body + b"\n", content_type="application/x-ndjson")
    assert (whole.status_code, lines.status_code) == (200, 200)
    assert whole.json["urgent"] and orjson.loads(lines.data) == whole.json


CELLS = {
    "setting": ["hme", None, "", 3], "taken_at": ["soon", "2026-03-02", None, "2026-02-30T07:10:00Z"],
    "unit": ["mmGh", "psi", 7], "id": ["x" * 65], "site": ["left arm"], "pulse": ["fast"], "technique.talking": ["perhaps"],
    "device": ["x" * 65], "subject.age_years": ["old"], "subject.pregnant": ["perhaps"],
}  # fmt: skip
ROW = {"subject": "s-1", "taken_at": TIME, "systolic": 128, "diastolic": 82, "setting": "home",
       **dict.fromkeys(set(CELLS) - {"taken_at", "setting"})}  # fmt: skip


@st.composite
def urgent_tables(draw: Callable) -> Table:
    systolic, diastolic = draw(st.sampled_from(URGENT))
    names = draw(st.lists(st.sampled_from(sorted(CELLS)), min_size=1, max_size=3, unique=True))
    urgent = {
        **ROW,
        "systolic": systolic,
        "diastolic": diastolic,
        **{name: draw(st.sampled_from(CELLS[name])) for name in names},
    }
    if (systolic, diastolic) == (225, 130) and draw(st.booleans()):
        urgent[draw(st.sampled_from(["systolic", "diastolic"]))] = draw(st.sampled_from([None, "", "x", "22O"]))
    beside = draw(st.lists(st.sampled_from([ROW | {"setting": "hme"}, ROW | {"systolic": "x"}, ROW]), max_size=2))
    return Table(list(ROW), [{**ROW, "taken_at": "2026-03-03T07:10:00+01:00"}, urgent, *beside])


@FEW
@given(urgent_tables())
def test_nor_does_it_in_a_table(table):
    with TemporaryDirectory() as folder:
        doors = [by_frame(table), by_csv(table, Path(folder))]
    for door in doors:
        (subject,) = door.tables["subjects"]
        assert subject["urgent"]
        assert subject["readings_received"] == len(table.rows) == subject["readings_assessed"] + subject["readings_lost"]


def test_junk_is_no_readable_value_of_its_field():
    """Or the tests above would say nothing: each kind of damage costs its field or the reading."""
    for name, values in UNREADABLE.items():
        for value in values:
            damaged = {**reading(TIME, 225, 130), **WHOLE, name: value}
            if value is GONE:
                del damaged[name]
            found = answer({**week(1, options={"time_zone": None}), "readings": [damaged], "devices": [{"id": "d-1"}]})
            assert found["problems"], (name, value)
    assert junk_for(1) is NUMBER_JUNK
