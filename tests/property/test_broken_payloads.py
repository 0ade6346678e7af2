"""A good request, damaged at random: never a failure, every fault named at its place, everything else as it was."""

import json
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from functools import cache
from typing import Any

import orjson
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heartlevel import RefusedRequest
from heartlevel.answer.whole import as_json
from heartlevel.web.application import create_app
from support import answer, demo, rules, week

MANY = settings(max_examples=1000, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
SOME = settings(max_examples=200, deadline=None, derandomize=True,
                suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])  # fmt: skip
GONE = object()
SUBJECT_MARK = "mark-of-the-subject-0c1d"

# The contract's required keys and those a reading says nothing without, written down here a second time on purpose.
REQUIRED = {(): {"subject", "readings"}, ("subject",): {"id"}, ("devices", 0): {"id"},
            ("readings", 0): {"taken_at", "systolic", "diastolic", "setting"},
            ("device_checks", 0): {"device", "pairs"}, ("device_checks", 0, "pairs", 0): {"device", "reference"},
            ("device_checks", 0, "pairs", 0, "device"): {"systolic", "diastolic"},
            ("device_checks", 0, "pairs", 0, "reference"): {"systolic", "diastolic"},
            ("device_checks", 0, "sequence", 0): {"by", "systolic", "diastolic"}}  # fmt: skip
ESSENTIAL = {"devices": {"id"}, "readings": {"taken_at", "systolic", "diastolic", "setting", "unit"},
             "device_checks": {"device", "pairs", "sequence"}}  # fmt: skip
CHOICES = {"setting", "unit", "taken_by", "site", "method", "placement", "inflation", "shape", "body_position",
           "arm_level", "guideline", "protocol", "language", "time_zone"}  # fmt: skip
OF_PREGNANCY = {"severe-in-pregnancy", "severe-after-birth"}  # beside `very-high`
NO_TIMES = ["2026-02-30T07:10:00+01:00", "2026-03-02T25:10:00Z", "2026-03-02", "yesterday", "2026-03-02T07:10:00+25:00"]


def nested(depth: int) -> list:
    inner: list = []
    for _ in range(depth):
        inner = [inner]
    return inner


TEXT_JUNK: dict[str, Any] = {"empty": "", "long": "x" * 10_000, "surrogate": "\ud800", "surrogates-end": "ab\udfff",
                             "number": 5, "true": True, "list": [], "object": {}, "deep": nested(200)}  # fmt: skip
NUMBER_JUNK: dict[str, Any] = {"text": "142", "NaN": "NaN", "Infinity": "Infinity", "none": "None", "empty": "",
                               "true": True, "huge": 10**30, "beyond-float": 10**400, "negative": -(10**400),
                               "nan": float("nan"), "infinite": float("inf"), "list": [1], "object": {"value": 1},
                               "deep": nested(200), "surrogate": "\udfff"}  # fmt: skip
FLAG_JUNK: dict[str, Any] = {"one": 1, "zero": 0, "text": "true", "empty": "", "list": [True], "object": {},
                             "huge": 10**400, "deep": nested(200)}  # fmt: skip
LIST_JUNK: dict[str, Any] = {"object": {"0": 1}, "text": "[]", "number": 1, "false": False, "surrogate": "\ud800"}
OBJECT_JUNK: dict[str, Any] = {"list": [1], "nested": nested(200), "text": "{}", "number": 10**400, "false": False,
                               "surrogate": "\ud800"}  # fmt: skip
STRANGE_KEYS = ["systolik", "Systolic", "takenAt", "", "a/b~c", "_schema", "id ", "x" * 500, "\ud800", "readings"]


@dataclass(frozen=True)
class Damage:
    """One thing done to a request. `late` faults are only looked for in items that could be read at all."""

    path: tuple
    value: Any
    fault: bool
    late: bool = False
    others: tuple = ()  # where else the fault may be reported

    def __repr__(self) -> str:
        return f"{self.path} {'fault' if self.fault else 'harmless'}{' late' if self.late else ''}"


@cache
def good() -> list[dict]:
    """Requests without a single problem, with and without a time zone, devices and device checks."""
    one = week(2, device="d-1", unit="mm[Hg]", site="left-upper-arm", pulse=66, circumstances=["work-day"],
               technique={"talking": False, "arm_height_cm": 0, "body_position": "sitting"},
               options={"guideline": "esh-2023", "as_of": "2026-03-10"})  # fmt: skip
    one["devices"] = [{"id": "d-1", "placement": "upper-arm", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}, {"id": "d-2"}]
    pair = {"device": {"systolic": 138, "diastolic": 86}, "reference": {"systolic": 134, "diastolic": 84}}
    one["device_checks"] = [{"device": "d-1", "reference_device": "office-1", "pairs": [pair, deepcopy(pair)]}]
    turns = [{"by": by, "systolic": 131, "diastolic": 82} for by in ("device", "device", "reference", "device")]
    one["device_checks"].append({"device": "d-1", "sequence": turns})
    short = [{**each, "readings": each["readings"][:8]} for each in demo()]
    whole = [one, week(1), {**week(1), "options": {}}, *(each for each in short if not answer(each)["problems"])]
    return orjson.loads(orjson.dumps(whole))  # nothing in it is shared, so that damage stays where it is done


def places(value: Any, at: tuple = ()) -> Iterator[tuple]:
    """Yield every place in a request but single items of plain lists."""
    yield at
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, deeper in inner:
        if isinstance(key, str) or isinstance(deeper, dict):
            yield from places(deeper, (*at, key))


def at(value: Any, path: tuple) -> Any:
    for key in path:
        value = value[key]
    return value


def required(path: tuple) -> bool:
    parent = tuple(0 if isinstance(key, int) else key for key in path[:-1])
    return path[-1:] != () and path[-1] in REQUIRED.get(parent, ())


def junk_for(value: Any) -> dict[str, Any]:
    if isinstance(value, bool):
        return FLAG_JUNK
    tables = {str: TEXT_JUNK, int: NUMBER_JUNK, float: NUMBER_JUNK, list: LIST_JUNK, dict: OBJECT_JUNK}
    return tables[type(value)]


@st.composite
def damages(draw: Callable, payload: dict) -> Damage:
    path = draw(st.sampled_from(sorted(places(payload), key=str)))
    value, name = at(payload, path), path[-1] if path else None
    kinds = ["junk"] + ["delete", "null"] * isinstance(name, str) + ["key"] * isinstance(value, dict)
    kinds += ["digit"] * (name in ("systolic", "diastolic") and value * 10 > 400) + ["choice"] * (name in CHOICES)
    kinds += ["time", "naive"] * (name == "taken_at") + ["stranger"] * (name == "device" and isinstance(value, str))
    kinds += ["twice"] * (name == "id" and path[0] in ("readings", "devices") and len(payload[path[0]]) > 1)
    match draw(st.sampled_from(kinds)):
        case "junk":
            table = junk_for(value)
            return Damage(path, table[draw(st.sampled_from(sorted(table)))], fault=True)
        case "delete":
            return Damage(path, GONE, fault=required(path))
        case "null":
            return Damage(path, None, fault=required(path))
        case "key":
            key = draw(st.sampled_from([one for one in STRANGE_KEYS if one not in value]))
            return Damage((*path, key), 1, fault=True)
        case "digit":
            return Damage(path, value * 10, fault=True)  # 1240 for 124
        case "choice":
            return Damage(path, draw(st.sampled_from([value.swapcase(), value[:-1], value + " "])), fault=True)
        case "time":
            return Damage(path, draw(st.sampled_from(NO_TIMES)), fault=True, late=True)
        case "naive":
            return Damage(path, value[:19], fault=not payload["options"].get("time_zone"), late=True)
        case "stranger":
            return Damage(path, "d-stranger", fault=True, late=True)
        case _:
            other = draw(st.sampled_from([one for one in range(len(payload[path[0]])) if one != path[1]]))
            twin = (path[0], other, "id")
            return Damage(path, at(payload, twin), fault=True, late=True, others=(twin,))


def apart(damage: Damage, others: list[Damage]) -> bool:
    """Say whether no place of a damage lies in, or holds, a place of another."""
    taken = [path for one in others for path in (one.path, *one.others)]
    mine = (damage.path, *damage.others)
    return not any(one[: len(path)] == path[: len(one)] for one in mine for path in taken)


@st.composite
def damaged(draw: Callable) -> tuple[dict, list[Damage]]:
    payload = draw(st.integers(0, len(good()) - 1).map(good().__getitem__))
    done: list[Damage] = []
    for _ in range(draw(st.integers(1, 5))):
        damage = draw(damages({"options": {}, **payload}))
        if apart(damage, done):
            done.append(damage)
    return payload, done


def with_damage(payload: Any, done: list[Damage]) -> Any:
    broken = deepcopy({"": payload})
    for damage in done:
        *way, name = ("", *damage.path)
        holder = broken
        for key in way:
            holder = holder.setdefault(key, {}) if isinstance(holder, dict) else holder[key]
        if damage.value is GONE:
            holder.pop(name, None)
        else:
            holder[name] = damage.value
    return broken[""]


def refuses(damage: Damage) -> bool:
    whole = len(damage.path) < 2 or damage.path[0] == "options" or damage.path == ("subject", "id")
    return damage.fault and whole


def leaves_limits_unclear(damage: Damage) -> bool:
    """Say whether it can no longer be known which limits hold. Of the strange keys only one is near to a detail, the id."""
    details = {"age_years", "pregnant", "days_since_birth", *STRANGE_KEYS} - {"id "}
    return damage.fault and len(damage.path) == 2 and damage.path[0] == "subject" and damage.path[1] in details


def loses_item(damage: Damage) -> bool:
    """Say whether the whole reading, device or check can say nothing after this."""
    of_list = damage.path[:1] and ESSENTIAL.get(damage.path[0], set())
    lost = len(damage.path) == 2 or (len(damage.path) > 2 and damage.path[2] in of_list)
    unread = not damage.late or damage.path[2] == "taken_at"  # a stranger's name can be read
    return bool(damage.fault and unread and of_list and lost)


def healed(payload: dict, done: list[Damage]) -> dict:
    """The request somebody careful would have sent: what cannot be read left out, all else as it was sent."""
    kept = [one for one in done if not one.fault or one.late and not loses_item(one)]
    gone = [Damage(one.path, GONE, fault=False) for one in done if one.fault and one not in kept and not loses_item(one)]
    whole = with_damage(payload, kept + gone)
    lost = {one.path[:2] for one in done if loses_item(one)}
    for name in ESSENTIAL:
        if isinstance(whole.get(name), list):
            whole[name] = [one for place, one in enumerate(whole[name]) if (name, place) not in lost]
    return whole


def pointer(path: tuple) -> str:
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in path)


def lies_at(found: str, path: tuple) -> bool:
    if "\ud800" in path:  # such a key cannot be written as UTF-8, so its pointer can lead no further than its holder
        return found == pointer(path[:-1]) or found.startswith(pointer(path[:-1]) + "/")
    return found == pointer(path) or found.startswith(pointer(path) + "/")


def unnamed(done: list[Damage], pointers: list[str], refused: bool) -> list[Damage]:
    """Return the faults no problem points at. Times and names are looked at only where the items could be read."""
    lost = {one.path[:2] for one in done if loses_item(one)}
    unread = {one.path[:2] for one in done if one.fault and not one.late and loses_item(one)}
    due = [one for one in done if one.fault and not (one.late and (refused or one.path[:2] in unread))]
    due = [one for one in due if not any(other[:2] in lost for other in (one.path, *one.others) if one.others)]
    return [one for one in due
            if not any(lies_at(found, path) for found in pointers for path in (one.path, *one.others))]  # fmt: skip


def figures(whole: dict) -> dict[str, tuple]:
    return {one["id"]: (one["systolic"], one["diastolic"], one["reliability"]) for one in whole["readings"]}


def urgent_rules(whole: dict) -> set[tuple[str, str]]:
    """Name the urgent rules with each reading they fired for, but for one that takes a pregnancy to be recorded."""
    return {(one["rule"], name) for one in whole["findings"] if one["urgent"] and one["rule"] not in OF_PREGNANCY
            for name in one["readings"]}  # fmt: skip


def undisturbed(payload: dict, done: list[Damage]) -> set[str]:
    """Name the readings of days on which nothing was damaged, where the damage is in readings only."""
    if any(one.path[0] != "readings" or len(one.path) < 2 for one in done):
        return set()
    touched = {path[1] for one in done for path in (one.path, *one.others)}
    days = {payload["readings"][place]["taken_at"][:10] for place in touched}
    return {one["id"] for one in payload["readings"] if "id" in one and one["taken_at"][:10] not in days}


def test_the_requests_to_be_damaged_are_good_ones():
    assert len(good()) > 8
    assert [answer(one)["problems"] for one in good()] == [[]] * len(good())


@MANY
@given(damaged())
def test_damage_is_named_at_its_place_and_nothing_else_in_the_answer_changes(case):
    payload, done = case
    broken = with_damage(payload, done)
    if any(map(refuses, done)):
        with pytest.raises(RefusedRequest) as refusal:
            answer(broken)
        orjson.dumps([one.as_dict() for one in refusal.value.problems])
        assert unnamed(done, [one.pointer for one in refusal.value.problems], refused=True) == []
        return
    given_back = answer(broken)
    assert unnamed(done, [one["pointer"] for one in given_back["problems"]], refused=False) == []
    expected = answer(healed(payload, done))
    if any(map(leaves_limits_unclear, done)):
        assert figures(given_back) == figures(expected)
        assert urgent_rules(given_back) >= urgent_rules(expected)
        assert (given_back["classification"]["category"], given_back["pattern"]["label"]) == (None, "undetermined")
    else:
        assert as_json({**given_back, "problems": []}) == as_json({**expected, "problems": []})
    as_json(given_back)  # what was found wrong can be written as JSON too
    kept = undisturbed(payload, done)
    if kept:
        before, after = figures(answer(payload)), figures(given_back)
        assert {name: after.get(name) for name in kept} == {name: before[name] for name in kept}


@pytest.fixture(scope="module")
def app():
    return create_app({"TESTING": False}, rules())


def post(client, body: bytes, kind: str = "application/json"):
    response = client.post("/v1/assessments", data=body, content_type=kind)
    assert response.status_code in (200, 400, 422)
    assert response.content_type == (kind if response.status_code == 200 else "application/problem+json")
    return response


def is_json(body: bytes) -> bool:
    try:
        orjson.loads(body)
    except orjson.JSONDecodeError:
        return False
    return True


@SOME
@given(damaged())
def test_over_http_damage_is_answered_as_by_the_function_and_never_with_a_500(client, case):
    broken = with_damage(*case)
    body = json.dumps(broken).encode()
    response = post(client, body)
    assert (response.status_code == 400) == (not is_json(body))
    if response.status_code == 200:
        assert response.data == as_json(answer(orjson.loads(body)))
    elif response.status_code == 422:
        with pytest.raises(RefusedRequest) as refusal:
            answer(orjson.loads(body))
        assert response.json["problems"] == [one.as_dict() for one in refusal.value.problems]


@st.composite
def damaged_bytes(draw: Callable) -> bytes:
    payload = draw(st.integers(0, len(good()) - 1).map(good().__getitem__))
    body = bytearray(orjson.dumps({**payload, "subject": {**payload["subject"], "id": SUBJECT_MARK}}))
    for place in draw(st.lists(st.integers(0, len(body) - 1), max_size=4)):
        body[place] = draw(st.integers(0, 255))
    return bytes(body[: draw(st.integers(0, len(body)) | st.just(len(body)))])


@SOME
@given(damaged_bytes())
def test_damaged_bytes_are_answered_and_never_quoted_in_a_log(client, caplog, body):
    caplog.clear()
    with caplog.at_level("DEBUG"):
        response = post(client, body)
    assert (response.status_code == 400) == (not is_json(body))
    assert "/v1/assessments" in caplog.text  # the log is on
    assert not any(quoted in caplog.text for quoted in (SUBJECT_MARK, "systolic", "2026-0"))


DEEP = b"[" * 1000 + b"]" * 1000


@pytest.mark.parametrize("key", ["setting", "systolic", "id", "circumstances", "technique", "pulse", "surplus"])
@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson"])
def test_the_deepest_json_that_can_be_parsed_is_a_problem_at_its_place(client, key, kind):
    payload = week(1)
    payload["readings"][1][key] = "deep"
    body = json.dumps(payload).encode().replace(b'"deep"', DEEP)
    whole = orjson.loads(post(client, body, kind).data)
    assert any(lies_at(one["pointer"], ("readings", 1, key)) for one in whole["problems"])
    assert {"r-0-7-0", "r-0-20-0", "r-0-20-1"} <= {one["id"] for one in whole["readings"]}
