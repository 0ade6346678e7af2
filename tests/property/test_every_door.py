"""One table gets one answer through every door: as requests made by hand, DataFrame, CSV, Parquet and NDJSON."""

import csv
import io
import json
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pyarrow
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from heartlevel import RefusedRequest
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.inputs.registry import CSV, JSON, PARQUET
from heartlevel.bulk.outputs import registry
from heartlevel.bulk.outputs.pieces import LENGTH
from heartlevel.bulk.parts.parts import parts_of
from heartlevel.bulk.parts.sheets import from_bytes
from heartlevel.bulk.running.carrying_out import Job, bulk_inputs
from heartlevel.bulk.running.judging import judge_part
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.frames import assess_frame
from heartlevel.tables.devices import nameless
from heartlevel.tables.meanings import Mapped
from support import examples, rules

MANY = settings(max_examples=examples(25), deadline=None, report_multiple_bugs=False,
                suppress_health_check=list(HealthCheck))  # fmt: skip
# How a clerk would read the columns: what is not listed here is text.
NUMBERS = {"systolic", "diastolic", "pulse", "selected_from", "technique.arm_height_cm", "technique.rested_minutes",
           "cuff.arm_min_cm", "cuff.arm_max_cm", "device.measuring_range.low", "subject.age_years",
           "subject.days_since_birth", "subject.arm_circumference_cm.left"}  # fmt: skip
FLAGS = {"technique.talking", "subject.pregnant", "device_status.cuff_loose", "device.independently_validated"}
LISTS = {"circumstances", "subject.avoid_arms"}
REQUIRED = ("subject", "taken_at", "systolic", "diastolic", "setting")
TIMES = [f"2026-03-{day:02d}T{hour:02d}:{minute:02d}:00+01:00"
         for day in range(1, 8) for hour in (7, 20) for minute in (10, 11)]  # fmt: skip
GOOD = {
    "taken_at": TIMES,
    "systolic": [120, 131.5, 142, 188, 156, " 142 "],
    "diastolic": [80, 91.5, 70, 99],
    "setting": ["home", "home", " home ", "Home", "office", "work"],
    "id": [None, None, "r-1", "r-2", " r-3", 4],
    "pulse": [None, 70, 71.5],
    "unit": [None, "mm[Hg]", "mmHg"],
    "site": [None, "left-upper-arm", "Left upper arm", "right-wrist"],
    "selected_from": [None, 1, 5],
    "circumstances": [None, "stress pain", "stress;pain", "work-day|stress", ["stress", "pain"], "", "free-day;"],
    "technique.talking": [None, True, False, " TRUE", "false"],
    "technique.arm_height_cm": [None, -12, 0, " 5 "],
    "technique.rested_minutes": [None, 5, 1],
    "device_status.cuff_loose": [None, False, True],
    "device": [None, "d-1", "d-1", "d-2", 7],
    "device.independently_validated": [None, True],
    "device.measuring_range.low": [None, 30],
    "device.checked_on": [None, "2026-01-12"],
    "cuff.arm_min_cm": [None, None, 22, "22"],
    "cuff.arm_max_cm": [None, 32],
    "subject.age_years": [None, 50, "50"],
    "subject.pregnant": [None, False, "true"],
    "subject.days_since_birth": [None, 10],
    "subject.arm_circumference_cm.left": [None, 40, 33.5],
    "subject.avoid_arms": [None, "left", "left right", ["right"]],
}  # fmt: skip
ODD = {
    "taken_at": ["2026-03-02T07:10", "2026-03-29T02:30:00", "2026-10-25T02:30:00", "2026-03-02 07:10:00.250Z",
                 "soon", None],
    "systolic": [16, 17.5, 401, "120", "17,5", "1,420", "12O", None, True, "nan", "inf", float("inf")],
    "diastolic": [11, -1, "eighty", None],
    "setting": ["HOME", 3, None, "hom"],
    "id": ["r-1", "x" * 65, "@" + TIMES[0]],
    "pulse": [9, "fast"],
    "unit": ["kPa", "psi", 1],
    "site": ["left", 1],
    "selected_from": [0, 101],
    "circumstances": ["stres", "stress pian", ["stress", "pian"], ";"],
    "technique.talking": ["yes", 1, 0],
    "technique.arm_height_cm": [99, "low", False],
    "device": ["x" * 65],
    "device.checked_on": ["12.1.2026", "2026-01-21"],
    "cuff.arm_min_cm": [28, 900, "wide"],
    "subject.age_years": [10, 400, "old"],
    "subject.pregnant": ["perhaps", 1, True],
    "subject.avoid_arms": ["left;rihgt", "right"],
}  # fmt: skip
SUBJECTS = [["s-1", "s-2", "s-3", " s-1 "], [1, 2, 3], [1, "2", "s-3", None], [1, 2, None]]
ZONES = [None, "Europe/Oslo", "Asia/Kathmandu"]


@dataclass
class Table:
    """Rows of a table, its columns, and the zone of those who say no other."""

    names: list[str]
    rows: list[dict]
    zone: str | None = None


@st.composite
def tables(draw) -> Table:
    """Readings of some people; what is said of a person is mostly the same in all rows, or said only once."""
    names = [*REQUIRED, *draw(st.lists(st.sampled_from(sorted(set(GOOD) - set(REQUIRED))), unique=True, max_size=9))]
    zones = draw(st.sampled_from([[], [], ["options.time_zone"]]))
    odd = draw(st.sampled_from([0, 0, 20, 6]))
    people = {who: {name: draw(st.sampled_from(GOOD[name])) for name in names if name.startswith("subject.")}
              | {name: draw(st.sampled_from(ZONES)) for name in zones}
              for who in draw(st.sampled_from(SUBJECTS))}  # fmt: skip
    rows = []
    for _ in range(draw(st.integers(1, 16))):
        who = draw(st.sampled_from(list(people)))
        row = {"subject": who, **{name: draw(st.sampled_from(GOOD[name])) for name in names if name in GOOD}}
        row |= people[who] if draw(st.integers(0, 3)) else dict.fromkeys(people[who])
        for name in names:
            if name in ODD and odd and draw(st.integers(0, odd)) == 0:
                row[name] = draw(st.sampled_from(ODD[name]))
        rows.append(row)
        if odd and draw(st.integers(0, 7)) == 0:
            rows.append(dict(row))
    return Table([*names, *zones], rows, draw(st.sampled_from(ZONES)))


# The requests that a clerk would make of the rows, one by one.


@dataclass
class Clerk:
    """What was read of one person: the request, each reading's row, and what is wrong with rows whatever the request."""

    request: dict
    rows: list[int] = field(default_factory=list)
    cells: dict[str, tuple[int, str | None]] = field(
        default_factory=dict
    )  # where what stands outside readings was said first
    differing: set[tuple[int, str | None, str]] = field(default_factory=set)


def cell(name: str, value: object) -> object:
    """Read a cell."""
    if isinstance(value, str):
        value = value.strip()
    if value is None or value == "" or (isinstance(value, float) and np.isnan(value)):
        return None
    if name in LISTS and isinstance(value, str):
        return [item for item in value.replace(";", " ").replace("|", " ").split(" ") if item]
    if name in FLAGS and isinstance(value, str):
        return {"true": True, "false": False}.get(value.lower(), value)
    if name in NUMBERS:
        return number(value)
    if name not in NUMBERS | FLAGS | LISTS and isinstance(value, (int, float)):
        return f"{value:g}"
    return value


def number(value: object) -> object:
    try:
        read = value if isinstance(value, bool) else float(value)
    except ValueError:
        return value
    if np.isnan(read):
        return None
    return str(value) if np.isinf(read) else read


def clerk(table: Table) -> dict[str, Clerk]:
    """Make everybody's request."""
    made, unnamed = dict[str, Clerk](), dict[str, str]()
    for place, row in enumerate(table.rows):
        said = {name: value for name in table.names if (value := cell(name, row[name])) is not None}
        who = said.pop("subject", None)
        if who is None:
            continue
        of = made.setdefault(who, Clerk({"subject": {"id": who}, "devices": {}, "readings": [], "options": {}}))
        given = {"options.time_zone": table.zone} if table.zone else {}  # a row's own zone counts more than that of all
        reading: dict = {}
        device = {name: said.pop(name) for name in list(said) if name.startswith(("device.", "cuff."))}
        for name, value in (given | said).items():
            if name.startswith(("subject.", "options.")):
                part, _, way = name.partition(".")
                keep(of, of.request[part], f"/{part}", way, value, (place, name if name in said else None))
            else:
                put(reading, name, value)
        if device or "device" in reading:
            known = reading.setdefault(
                "device", unnamed.setdefault(repr(sorted(device.items())), nameless(f"{len(unnamed):012x}"))
            )
            whole = of.request["devices"].setdefault(str(known), {"id": known})
            for name, value in device.items():
                keep(of, whole, f"/devices/{known}", name.removeprefix("device."), value, (place, name))
        of.request["readings"].append(reading)
        of.rows.append(place)
    for of in made.values():
        of.request["devices"] = list(of.request["devices"].values())
    return made


def put(whole: dict, name: str, value: object) -> None:
    *way, last = name.split(".")
    for step in way:
        whole = whole.setdefault(step, {})
    whole[last] = value


def keep(of: Clerk, whole: dict, pointer: str, name: str, value: object, at: tuple[int, str | None]) -> None:
    """Enter what is said for the first time; note what is said otherwise later."""
    *way, last = name.split(".")
    for step in way:
        whole = whole.setdefault(step, {})
    if last not in whole:
        whole[last] = value
        of.cells["/".join([pointer, *way, last])] = at
    elif json.dumps(whole[last]) != json.dumps(value):
        of.differing.add((*at, "rows-differ"))


# The doors. Each returns result tables with the rows that readings stand in, and problems as (row, column, code).


@dataclass
class Found:
    """What came through a door."""

    tables: dict[str, list[dict]]
    problems: set[tuple[int, str | None, str]]


def by_frame(table: Table) -> Found:
    columns = {name: pd.Series([row[name] for row in table.rows]) for name in table.names}
    result = assess_frame(pd.DataFrame(columns), rules(), {"time_zone": table.zone} if table.zone else {})
    found = {}
    for name in registry.RESULT_TABLES:
        frame = getattr(result, name)
        found[name] = frame.astype(object).where(frame.notna(), None).to_dict("records")
    problems = {(row, None if pd.isna(column) else column, code)
                for row, column, code in result.problems[["row", "column", "code"]].itertuples(index=False)}  # fmt: skip
    return Found(found, problems)


def by_file(inputs: list[Input], table: Table, first: int) -> Found:
    """Assess a table that is a file, in which the first row is line `first`."""
    fixed = {"options.time_zone": table.zone} if table.zone else {}
    source = bulk_inputs(inputs, Mapped(fixed=fixed))
    with TemporaryDirectory() as folder:
        plan = Job(rules(), source, registry.TABLES).plan()
        parts = [judge_part(plan, part) for part in parts_of(source, Path(folder), Meter(None))]
    found = {}
    for at, name in enumerate(registry.RESULT_TABLES):
        rows = [row for part in parts for row in from_bytes(part.outputs[at][LENGTH:]).to_pylist()]
        for row in rows:
            for line, ours in (("line", "row"), ("first_line", "first_row")):
                if line in row:
                    row[ours] = -1 if row[line] is None else row.pop(line) - first
                    row.pop(line.replace("line", "input"))
            row.pop("first_line", None)
        found[name] = rows
    slips = {finding["rule"] for finding in found["findings"]}  # slips of entry are among the findings of tables
    said = [json.loads(line) for part in parts for line in part.problems.splitlines()]
    at = "pointer" if inputs[0].format == JSON else "column"
    return Found(found, {(one["line"] - first, one[at], one["code"]) for one in said if one["code"] not in slips})


def by_csv(table: Table, folder: Path) -> Found:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(table.names)
    writer.writerows([[in_text(row[name]) for name in table.names] for row in table.rows])
    (folder / "t.csv").write_text(text.getvalue())
    return by_file([Input("t.csv", CSV, folder / "t.csv")], table, 2)


def in_text(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return ";".join(value) if isinstance(value, list) else "" if value is None else str(value)


def by_parquet(table: Table, folder: Path) -> Found:
    """Write columns by their kind, those of several kinds as texts."""
    columns = {}
    for name in table.names:
        values = [row[name] for row in table.rows]
        try:
            columns[name] = pyarrow.array(values)
        except (pyarrow.ArrowInvalid, pyarrow.ArrowTypeError):
            columns[name] = pyarrow.array([None if value is None else in_text(value) for value in values])
    parquet.write_table(pyarrow.table(columns), folder / "t.parquet")
    return by_file([Input("t.parquet", PARQUET, folder / "t.parquet")], table, 1)


def by_requests(table: Table, folder: Path) -> Found:
    """Send the clerk's requests as NDJSON, and find the rows again by the clerk's notes."""
    made = clerk(table)
    (folder / "t.ndjson").write_text("".join(json.dumps(of.request) + "\n" for of in made.values()))
    found = by_file([Input("t.ndjson", JSON, folder / "t.ndjson")], table, 1)
    nobodys = [place for place, row in enumerate(table.rows) if cell("subject", row["subject"]) is None]
    problems: set = {(place, None, "no-subject") for place in nobodys}
    notes = list(made.values())
    for line, pointer, code in found.problems:
        problems.add((*where(notes[line], pointer or "", table), code))
    problems |= {one for of in notes for one in of.differing}
    return Found(found.tables, problems)


def where(of: Clerk, pointer: str, table: Table) -> tuple[int, str | None]:
    """Return row and column of what a pointer means."""
    _, part, *way = [*pointer.split("/"), ""]
    if part == "readings" and way[0].isdigit():
        names = [step for step in way[1:] if step and not step.isdigit()]
        name = ".".join(names)
        return of.rows[int(way[0])], name if name in table.names else None
    if part == "devices":
        way[0] = of.request["devices"][int(way[0])]["id"]
    steps = ["", part, *way]
    while steps:
        if (at := of.cells.get("/".join(steps))) is not None:
            return at
        steps.pop()
    if part == "devices":
        readings = zip(of.rows, of.request["readings"], strict=True)
        return next(row for row, reading in readings if reading.get("device") == way[0]), "device"
    return of.rows[0], "subject" if pointer == "/subject/id" else None


WITHOUT_ROWS = {"row", "first_row", "line", "input"}


def same_tables(mine: Found, theirs: Found, left_out: set[str] = frozenset()) -> None:
    for name in registry.RESULT_TABLES:
        assert comparable(mine.tables[name], left_out) == comparable(theirs.tables[name], left_out), name


def comparable(rows: list[dict], left_out: set[str]) -> list[dict]:
    """Return rows sorted by subject, the order within which stays; no number is None."""
    return [{key: None if isinstance(value, float) and np.isnan(value) else value
             for key, value in row.items() if key not in left_out}
            for row in sorted(rows, key=lambda row: row["subject"])]  # fmt: skip


def agree(table: Table) -> None:
    with TemporaryDirectory() as folder:
        doors = [by_frame(table), by_csv(table, Path(folder)), by_parquet(table, Path(folder))]
        asked = by_requests(table, Path(folder))
    for door in doors:
        same_tables(door, doors[0])
        same_tables(door, asked, WITHOUT_ROWS)
        rows = {(row, None if code == "no-subject" else column, code) for row, column, code in door.problems}
        assert rows == asked.problems


@MANY
@given(tables())
def test_a_table_has_the_same_results_and_the_same_faults_through_every_door(table):
    agree(table)


@MANY
@given(tables(), st.randoms(use_true_random=False))
def test_the_order_of_rows_plays_no_part_but_where_they_differ(table, chance):
    shuffled = Table(table.names, chance.sample(table.rows, len(table.rows)), table.zone)
    found, other = by_frame(table), by_frame(shuffled)
    differing = {who for who, of in [*clerk(table).items(), *clerk(shuffled).items()] if of.differing}
    for door in (found, other):
        door.tables = {name: [row for row in rows if row["subject"] not in differing] for name, rows in door.tables.items()}
    same_tables(found, other, WITHOUT_ROWS)
    counted = []
    for door, of_rows in ((found, table.rows), (other, shuffled.rows)):
        count: dict = defaultdict(int)
        for row, column, code in door.problems:
            if (who := cell("subject", of_rows[row]["subject"])) not in differing:
                count[who, column, code] += 1
        counted.append(count)
    assert counted[0] == counted[1]


def week(**cells) -> list[dict]:
    return [{"subject": "s-1", "taken_at": time, "systolic": 150, "diastolic": 95, "setting": "home",
             "site": "left-upper-arm", **cells} for time in TIMES]  # fmt: skip


def first_only(rows: list[dict], **cells) -> list[dict]:
    return [row | (cells if place == 0 else dict.fromkeys(cells)) for place, row in enumerate(rows)]


@pytest.mark.parametrize(
    ("rows", "rule"),
    [
        (first_only(week(device="d-1", **{"subject.arm_circumference_cm.left": 40}), **{"cuff.arm_max_cm": 32}),
         "arm-above-cuff-range"),
        (week(subject=7, **{"technique.talking": True}), "talking"),
        (week(circumstances="stress pain"), "in-pain"),
        (week(setting=" home ", **{"technique.talking": True}), "talking"),
    ],
)  # fmt: skip
def test_a_cuff_said_once_whole_numbers_as_names_and_spaces_mean_the_same_everywhere(rows, rule):
    table = Table(list(rows[0]), rows)
    agree(table)
    found = by_frame(table)
    assert found.problems == set()
    assert len(found.tables["readings"]) == len(rows)
    assert [one["readings"] for one in found.tables["findings"] if one["rule"] == rule] == [len(rows)]


@pytest.mark.parametrize("name", REQUIRED)
def test_a_table_without_a_column_that_is_needed_is_refused_by_every_door(tmp_path, name):
    table = Table([column for column in REQUIRED if column != name], week())
    with pytest.raises(RefusedRequest) as refused:
        by_frame(table)
    assert [one.pointer for one in refused.value.problems] == [f"/{name}"]
    for door in (by_csv, by_parquet):
        with pytest.raises(WrongCall, match=f"no column for {name}"):
            door(table, tmp_path)
