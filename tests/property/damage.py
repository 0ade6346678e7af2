"""A good request damaged at random, and what somebody careful would have sent."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from functools import cache
from typing import Any

import orjson
from hypothesis import strategies as st

from support import answer, demo, week

GONE = object()
# The contract's required keys and those a reading says nothing without, written down here a second time on purpose.
REQUIRED = {(): {"subject", "readings"}, ("subject",): {"id"}, ("devices", 0): {"id"},
            ("readings", 0): {"taken_at", "systolic", "diastolic", "setting"},
            ("device_checks", 0): {"device", "pairs"}, ("device_checks", 0, "pairs", 0): {"device", "reference"},
            ("device_checks", 0, "pairs", 0, "device"): {"systolic", "diastolic"},
            ("device_checks", 0, "pairs", 0, "reference"): {"systolic", "diastolic"},
            ("device_checks", 0, "sequence", 0): {"by", "systolic", "diastolic"},
            ("options", "population"): {"systolic", "diastolic", "correlation"},
            ("options", "population", "systolic"): {"mean", "sd"},
            ("options", "population", "diastolic"): {"mean", "sd"}}  # fmt: skip
CHOICES = {"setting", "unit", "taken_by", "site", "method", "placement", "inflation", "shape", "body_position",
           "arm_level", "guideline", "protocol", "language", "time_zone"}  # fmt: skip
WORDED = CHOICES - {"guideline", "protocol", "language", "time_zone"}  # read whatever their case and spaces
NO_TIMES = ["2026-02-30T07:10:00+01:00", "2026-03-02T25:10:00Z", "2026-03-02", "yesterday", "2026-03-02T07:10:00+25:00"]


def nested(depth: int) -> list:
    inner: list = []
    for _ in range(depth):
        inner = [inner]
    return inner


TEXT_JUNK: dict[str, Any] = {"empty": "", "long": "x" * 10_000, "surrogate": "\ud800", "surrogates-end": "ab\udfff",
                             "number": 5, "true": True, "list": [], "object": {}, "deep": nested(200)}  # fmt: skip
NUMBER_JUNK: dict[str, Any] = {"text": "14O", "unit": "142 mmHg", "thousands": "1,420", "NaN": "NaN",
                               "Infinity": "Infinity", "none": "None", "empty": "",
                               "true": True, "huge": 10**30, "beyond-float": 10**400, "negative": -(10**400),
                               "nan": float("nan"), "infinite": float("inf"), "list": [1], "object": {"value": 1},
                               "deep": nested(200), "surrogate": "\udfff"}  # fmt: skip
FLAG_JUNK: dict[str, Any] = {"one": 1, "zero": 0, "text": "yes", "empty": "", "list": [True], "object": {},
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
    pressure = name in ("systolic", "diastolic") and not isinstance(value, dict)
    kinds += ["digit"] * (pressure and value * 10 > 400) + ["choice"] * (name in CHOICES)
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
            harmless = [value.swapcase(), value + " ", value.replace("-", " ")] if name in WORDED else []
            written = draw(st.sampled_from([value[:-2], *harmless]))  # cut short
            return Damage(path, written, fault=written not in harmless)
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


def pointer(path: tuple) -> str:
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in path)


def lies_at(found: str, path: tuple) -> bool:
    if "\ud800" in path:  # such a key cannot be written as UTF-8, so its pointer can lead no further than its holder
        return found == pointer(path[:-1]) or found.startswith(pointer(path[:-1]) + "/")
    return found == pointer(path) or found.startswith(pointer(path) + "/")
