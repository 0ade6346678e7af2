"""A table of readings has the same numbers and problems as the requests that say the same."""

from collections import defaultdict

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heartlevel import answer_to
from heartlevel.conclusions.numbers import rounded
from heartlevel.frames import assess_frame
from support import demo, examples, rules

MANY = settings(max_examples=examples(50), deadline=None, report_multiple_bugs=False,
                suppress_health_check=list(HealthCheck))  # fmt: skip
SUBJECTS = ("s-1", "s-2", "s-3")
TIMES = [f"2026-03-{day:02d}T{hour:02d}:{minute:02d}:00{offset}"
         for day in (1, 2, 3, 28, 29) for hour in (2, 7, 20) for minute in (10, 11)
         for offset in ("+01:00", "Z", "-05:30")]  # fmt: skip
ODD_TIMES = ["2026-03-02T07:10", "2026-03-02 07:10:00.250+01:00", "2026-03-29T02:30:00", "2026-10-25T02:30:00",
             "2026-02-30T07:10:00Z", "2026-03-02T24:00:00Z", "2026-13-02T07:10:00Z", "2026-03-02T07:10:60Z", "soon",
             "2026-03-02T07:10:00+01:60", "2026-03-02t07:10:00z", "2026-03-02T07:10:00", "1826-03-02T07:10:00Z",
             "2026-03-02T07:10:00+24:00", "2026-03-0٢T07:10:00Z", "2026-03-02T07:10:00\0", 5]  # fmt: skip
GOOD = {
    "taken_at": st.sampled_from(TIMES),
    "systolic": st.integers(90, 200),
    "diastolic": st.integers(50, 110) | st.floats(50, 110),
    "setting": st.sampled_from(["home", "home", "office", "ambulatory", "work"]),
}
OPTIONAL = {
    "id": st.sampled_from(["r-1", "r-2", "@2026-03-01T07:10:00Z"]),
    "pulse": st.integers(40, 120),
    "unit": st.sampled_from(["mm[Hg]", "mm[Hg]", "kPa"]),
    "site": st.sampled_from(["left-upper-arm", "right-wrist"]),
    "selected_from": st.integers(1, 3),
    "circumstances": st.sampled_from(["stress;pain", "work-day", "free-day; quiet", ""]),
    "technique.back_supported": st.booleans(),
    "technique.arm_height_cm": st.integers(-20, 20),
    "technique.body_position": st.sampled_from(["sitting", "lying"]),
    "device_status.cuff_loose": st.booleans(),
}
OF_SUBJECT = {
    "subject.age_years": st.integers(10, 90) | st.sampled_from([400, "old"]),
    "subject.pregnant": st.booleans() | st.sampled_from(["perhaps", 1]),
    "subject.arm_circumference_cm.left": st.integers(20, 50),
    "subject.avoid_arms": st.sampled_from(["left", "left;right", "left;rihgt"]),
}
BAD = {
    "taken_at": st.sampled_from(ODD_TIMES),
    "systolic": st.sampled_from([0, 401, "120", True, None, 1200]),
    "diastolic": st.sampled_from([-1, 401, "80", None]),
    "setting": st.sampled_from(["hom", "Home", 3, None]),
    "unit": st.sampled_from(["kPA", "psi", 1]),
    "site": st.sampled_from(["left", 1]),
    "id": st.sampled_from(["", "x" * 65, 7]),
    "circumstances": st.sampled_from(["stres", "stress;", "stress;pian"]),
    "technique.back_supported": st.sampled_from(["yes", 1, 0.0]),
    "technique.arm_height_cm": st.sampled_from([99, "low", False]),
    "selected_from": st.sampled_from([0, 101]),
}
ZONES = st.sampled_from([None, "Europe/Oslo", "Asia/Kathmandu"])
NUMBERS = ("systolic", "diastolic", "mean_arterial", "pulse_pressure")


@st.composite
def rows(draw) -> list[dict]:
    """Rows of up to three subjects, some cells damaged, columns of subjects the same in all their rows."""
    people = {name: {key: draw(values) for key, values in OF_SUBJECT.items() if draw(st.booleans())} for name in SUBJECTS}
    found = []
    for _ in range(draw(st.integers(1, 14))):
        name = draw(st.sampled_from(SUBJECTS))
        row = {"subject": name, **people[name], **{key: draw(values) for key, values in GOOD.items()}}
        row |= {key: draw(OPTIONAL[key]) for key in draw(st.lists(st.sampled_from(sorted(OPTIONAL)), max_size=4))}
        if row.get("unit") == "kPa" and draw(st.booleans()):
            row |= {"systolic": row["systolic"] / 8, "diastolic": row["diastolic"] / 8}
        if draw(st.integers(0, 3)) == 0:
            key = draw(st.sampled_from(sorted(BAD)))
            row[key] = draw(BAD[key])
        found.append(row)
        if draw(st.integers(0, 7)) == 0:
            found.append(dict(row))  # a copy
    return found


def sent(column: str, value: object) -> object:
    """Return a cell as a request would hold it."""
    if column in ("circumstances", "subject.avoid_arms") and isinstance(value, str):
        return [one for one in value.replace(";", " ").split(" ") if one] or None
    if column in ("systolic", "diastolic") and isinstance(value, str):
        return float(value)
    if column in ("id", "setting", "unit", "site", "taken_at") and isinstance(value, int):
        return str(value)
    return value or None if isinstance(value, str) else value


def nested(cells: dict) -> dict:
    """Return the object that dotted cells make."""
    whole: dict = {}
    for name, value in cells.items():
        *way, last = name.split(".")
        inner = whole
        for step in way:
            inner = inner.setdefault(step, {})
        if value is not None:
            inner[last] = value
    return whole


def part(row: dict, of_subject: bool) -> dict:
    """Return what a row says of its subject, or of its reading."""
    cells = {name: sent(name, value) for name, value in row.items() if name != "subject"}
    return nested({name.removeprefix("subject."): value for name, value in cells.items()
                   if name.startswith("subject.") == of_subject})  # fmt: skip


def requests(table: list[dict], options: dict) -> dict[str, tuple[dict, list[int]]]:
    """Return each subject's request, and the rows of the table that are its readings."""
    by_subject = defaultdict(list)
    for place, row in enumerate(table):
        by_subject[row["subject"]].append(place)
    found = {}
    for name, places in by_subject.items():
        subject = {"id": name, **part(table[places[0]], of_subject=True)}
        readings = [part(table[place], of_subject=False) for place in places]
        found[name] = ({"subject": subject, "readings": readings, "options": options}, places)
    return found


def frame_of(table: list[dict]) -> pd.DataFrame:
    columns = dict.fromkeys(key for row in table for key in row) | dict.fromkeys(GOOD)
    return pd.DataFrame({key: pd.Series([row.get(key) for row in table]) for key in columns})


def agree(table: list[dict], options: dict) -> None:
    result = assess_frame(frame_of(table), rules(), options)
    asked = requests(table, options)
    assert list(result.subjects["subject"]) == list(asked)
    for name, (request, places) in asked.items():
        mine = {part: of_subject(getattr(result, part), name) for part in ("readings", "findings", "averages", "subjects")}
        answer = answer_to(request, rules())
        same_readings(mine["readings"], answer)
        same_averages(mine["averages"], answer)
        same_subject(mine["subjects"].iloc[0], answer)
        same_findings(mine["findings"], answer)
        same_problems(result.problems, answer, places)


def of_subject(found: pd.DataFrame, name: str) -> pd.DataFrame:
    return found[found["subject"] == name]


def same_readings(found: pd.DataFrame, answer: dict) -> None:
    expected = [[one["id"], one["reliability"], *(one[key] for key in NUMBERS)] for one in answer["readings"]]
    mine = [[one["id"], one["reliability"], *(rounded(one[key]) for key in NUMBERS)] for one in found.to_dict("records")]
    assert mine == expected


def same_averages(found: pd.DataFrame, answer: dict) -> None:
    mine = []
    for one in found.to_dict("records"):
        whole = {key: one[key] for key in ("setting", "basis", "readings", "days")}
        for name in ("systolic", "diastolic", "pulse"):
            low, high = rounded(one[f"{name}_low95"]), rounded(one[f"{name}_high95"])
            of = {key: rounded(one[f"{name}_{key}"]) for key in ("mean", "sd", "mean_of_days")}
            if of["mean"] is not None:
                whole[name] = {**of, "interval95": None if low is None else [low, high]}
        mine.append(whole)
    drop = ("left_out", "no_interval", "interval95_long_run", "from", "to")
    assert mine == [
        {key: {k: v for k, v in value.items() if k not in drop} if isinstance(value, dict) else value
         for key, value in one.items() if key not in drop}
        for one in answer["averages"]
    ]  # fmt: skip


def same_subject(found: pd.Series, answer: dict) -> None:
    expected = answer["classification"]
    for key in ("category", "reason", "setting"):
        assert found[key] == expected.get(key), key
    assert found["holds"] == expected.get("holds", False)
    assert found["sureness"] == expected.get("sureness", "cannot-be-told")
    for key in ("systolic", "diastolic"):
        assert rounded(found[key]) == expected.get(key), key
    assert found["urgent"] == answer["urgent"]
    assert found["pattern"] == answer["pattern"]["label"]
    assert found["limits_from"] == answer["made_with"]["limits_from"]
    coverage = answer["coverage"]
    assert found["home_enough_for_protocol"] == coverage["enough_for_protocol"]


def same_findings(found: pd.DataFrame, answer: dict) -> None:
    """Hold a row a rule against findings, of which an urgent rule has one an episode: it is urgent where any of them is."""
    expected, urgent = defaultdict(int), {one["rule"] for one in answer["findings"] if one["urgent"]}
    for one in answer["findings"]:
        expected[one["rule"], one["rule"] in urgent, one["effect"]] += len(one["readings"])
    assert {(one.rule, one.urgent, one.effect): one.readings for one in found.itertuples()} == expected
    assert len(found) == len(expected)


def same_problems(found: pd.DataFrame, answer: dict, places: list[int]) -> None:
    """Problems of reading; slips of entry, which are findings too, are among the findings of a table."""
    slips = {one["rule"] for one in answer["findings"]}
    expected = set()
    for one, pointer in ((told, place) for told in answer["problems"] for place in told["places"]):
        _, of, *way = pointer.split("/")
        column = ".".join(part for part in way if not part.isdigit())
        if of == "subject":  # said alike in all rows: the first is named
            expected.add((places[0], f"subject.{column}", one["code"]))
        elif one["code"] not in slips:
            expected.add((places[int(way[0])], column, one["code"]))
    mine = found[found["row"].isin(places)]
    assert {(one.row, "" if pd.isna(one.column) else one.column, one.code) for one in mine.itertuples()} == expected


@MANY
@given(rows(), ZONES, st.sampled_from([None, "2026-03-02"]), st.sampled_from([None, "esh-2023"]))
def test_a_table_has_the_numbers_and_problems_of_the_requests_that_say_the_same(table, zone, as_of, protocol):
    options = {"time_zone": zone, "as_of": as_of, "protocol": protocol}
    agree(table, {key: value for key, value in options.items() if value})


@pytest.mark.parametrize("zone", [None, "Europe/Oslo", "Asia/Kathmandu"])
def test_every_way_of_writing_a_time_is_read_as_in_a_request(zone):
    table = [{"subject": f"s-{place}", "taken_at": one, "systolic": 120, "diastolic": 80, "setting": "home"}
             for place, one in enumerate([*ODD_TIMES, *TIMES])]  # fmt: skip
    agree(table, {"time_zone": zone} if zone else {})


def dotted(part: dict, before: tuple[str, ...] = ()) -> dict:
    """Return an object of a request as cells."""
    cells = {}
    for name, value in part.items():
        cells |= dotted(value, (*before, name)) if isinstance(value, dict) else {".".join((*before, name)): value}
    return cells


def demo_table() -> list[dict]:
    """The demo practice without its devices; symptoms by day, which no column can hold, are left out with their person."""
    table = []
    for payload in (payload for payload in demo() if "symptoms" not in payload["subject"]):
        subject = dotted(payload["subject"], ("subject",))
        subject["subject"] = subject.pop("subject.id")
        table += [{**subject, **{key: value for key, value in dotted(one).items() if key != "device"}}
                  for one in payload["readings"]]  # fmt: skip
    return table


@pytest.mark.parametrize("options", [{}, {"protocol": "esh-2023"}, {"guideline": "esh-2023", "time_zone": "Europe/Oslo"}])
def test_a_whole_practice_has_the_same_numbers_as_a_table(options):
    agree(demo_table(), options)


def test_readings_of_one_visit_hold_though_no_other_day_could_contradict_them():
    table = [{"subject": "s-1", "taken_at": f"2026-03-02T07:{minute:02d}:00Z", "systolic": 150 - minute, "diastolic": 95,
              "setting": "office", "subject.age_years": 60} for minute in (0, 2, 4, 6)]  # fmt: skip
    for protocol in rules().ruleset.protocols:
        agree(table, {"protocol": protocol})


def test_what_is_merely_raised_beside_a_severe_value_is_as_urgent_in_a_table_as_in_an_answer():
    person = {"subject": "s-1", "subject.pregnant": True, "diastolic": 70}
    agree([{**person, "taken_at": "2026-03-02T09:10:00Z", "systolic": 160, "setting": "office"},
           {**person, "taken_at": "2026-03-02T19:10:00Z", "systolic": 136, "setting": "home"}], {})  # fmt: skip
