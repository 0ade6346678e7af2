"""Tables looked at by columns have the bytes and the problems that the same rows have when they are read one by one."""

import csv
import io
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyarrow
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.inputs.registry import CSV, PARQUET
from heartlevel.bulk.outputs import registry
from heartlevel.bulk.outputs.pieces import LENGTH
from heartlevel.bulk.parts.parts import parts_of
from heartlevel.bulk.parts.sheets import from_bytes
from heartlevel.bulk.running import carrying_out
from heartlevel.bulk.running.carrying_out import Job, bulk_inputs
from heartlevel.bulk.running.judging import judge_part
from heartlevel.tables import examined
from heartlevel.tables.meanings import Mapped
from support import examples, rules

MANY = settings(max_examples=examples(30), deadline=None, report_multiple_bugs=False,
                suppress_health_check=list(HealthCheck))  # fmt: skip
TIMES = ["2026-03-02T07:10:00+01:00", "2026-03-02T07:11:00+01:00", "2026-03-02T06:10:00Z", "2026-03-03T20:10:00+01:00",
         "2026-03-04T07:10:00+01:00", " 2026-03-05 07:10:00Z "]  # fmt: skip
LOCAL = ["2026-03-02T07:10", "2026-03-29T02:30:00", "2026-10-25T02:30:00", "2026-03-02 07:10:00.250"]
CELLS = {
    "taken_at": [*TIMES, *TIMES, *TIMES, *LOCAL, "soon", ""],
    "systolic": ["120", "120", "131.5", "188", " 142 ", "1e2", "12O", "", "nan", "inf", "1240", "18"],
    "diastolic": ["80", "80", "91.5", "70", "-1", "x"],
    "setting": ["home", "home", "home", "office", "Home", "ambulatory"],
    "id": ["", "", "", "r-1", "r-2", "@2026-03-02T07:10:00+01:00", "x" * 65],
    "pulse": ["", "70", "71.5", "9"],
    "unit": ["", "", "mm[Hg]", "kPa", "psi"],
    "site": ["", "left-upper-arm", "right-wrist", "left"],
    "circumstances": ["", "stress;pain", "work-day free-day", "stres"],
    "technique.talking": ["", "true", "FALSE", "yes"],
    "technique.arm_height_cm": ["", "-12", "0", "99"],
    "technique.rested_minutes": ["", "5", "1"],
    "device": ["", "", "d-1", "d-2", "7"],
    "device.method": ["", "", "oscillometric", "auscultatory", "guess"],
    "device.checked_on": ["", "", "2026-01-12", "2026-01-21", "12.1.2026"],
    "cuff.arm_min_cm": ["", "22", "22.0", "32", "900"],
    "cuff.arm_max_cm": ["", "", "32", "42"],
    "subject.age_years": ["", "50", "50.0", "10", "51", "500"],
    "subject.pregnant": ["", "", "false", "true"],
    "subject.days_since_birth": ["", "", "", "10"],
    "subject.arm_circumference_cm.left": ["", "33"],
    "subject.avoid_arms": ["", "left", "left;right", "right;left"],
    "options.time_zone": ["", "Europe/Oslo", "Asia/Kathmandu", "Mars"],
    "options.protocol": ["", "", "esh-2023", "nobodys"],
    "options.also_under": ["", "", "", "esc-2024"],
    "options.as_of": ["", "2026-03-10"],
    "options.strict": ["", "", "", "true"],
    "options.explain": ["", "", "full"],
}  # fmt: skip
REQUIRED = ("taken_at", "systolic", "diastolic", "setting")
OF_SUBJECT = [name for name in CELLS if name.startswith(("subject.", "options."))]
KINDS = st.sampled_from([registry.NDJSON, registry.FINDINGS_CSV, registry.FINDINGS_PARQUET, registry.TABLES])


@st.composite
def tables(draw) -> list[dict[str, str]]:
    """Rows of some subjects; most cells good, and what is said of a subject mostly the same in all its rows."""
    names = [*REQUIRED, *draw(st.lists(st.sampled_from(sorted(set(CELLS) - set(REQUIRED))), unique=True, max_size=9))]
    good = draw(st.booleans())
    cells = {name: CELLS[name][: max(2, len(CELLS[name]) // 3)] if good else CELLS[name] for name in names}
    choice = {name: st.sampled_from(several) for name, several in cells.items()}
    people = {f"s-{number}": {name: draw(choice[name]) for name in names if name in OF_SUBJECT} for number in range(4)}
    found = []
    for _ in range(draw(st.integers(1, 16))):
        subject = draw(st.sampled_from([*people, "", " s-1 "]))
        row = {"subject": subject, **{name: draw(choice[name]) for name in names}}
        found.append(row | (people.get(subject, {}) if draw(st.integers(0, 9)) else {}))
        if draw(st.integers(0, 5)) == 0:
            found.append(dict(row))
    return found


def written(rows: list[dict[str, str]], path: Path) -> Input:
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue())
    return Input(path.name, CSV, path)


def results(inputs: list[Input], kind: registry.OutputFormat, mapped: Mapped, grouped: bool = False) -> list[tuple]:
    source = bulk_inputs(inputs, mapped, grouped)
    with TemporaryDirectory() as folder:
        plan = Job(rules(), source, kind).plan()
        found = [judge_part(plan, part) for part in parts_of(source, Path(folder), Meter(None))]
    return [(_read(one.outputs, kind), one.problems, one.notes, one.counts) for one in found]


def _read(outputs: list[bytes], kind: registry.OutputFormat) -> list:
    """Return tables as rows: their bytes depend on the order in which their texts are first used."""
    return [from_bytes(one[LENGTH:]).to_pylist() for one in outputs] if kind is registry.TABLES else outputs


def agree(inputs: list[Input], kind: registry.OutputFormat, mapped: Mapped, grouped: bool = False) -> list[tuple]:
    """Compare with the reference: every row read as a request's readings are."""
    found = results(inputs, kind, mapped, grouped)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(examined, "mark_doubtful", lambda rows: rows.doubtful.fill(True))
        assert found == results(inputs, kind, mapped, grouped)
    return found


@MANY
@given(tables(), KINDS, st.booleans())
def test_a_table_has_the_bytes_of_its_rows_read_one_by_one(rows, kind, zoned):
    mapped = Mapped(fixed={"options.time_zone": "Europe/Oslo"} if zoned else {})
    with TemporaryDirectory() as folder:
        agree([written(rows, Path(folder) / "t.csv")], kind, mapped)


@MANY
@given(tables(), tables(), KINDS)
def test_subjects_that_go_on_in_another_table_have_them_too(rows, others, kind):
    with TemporaryDirectory() as folder:
        agree([written(rows, Path(folder) / "a.csv"), written(others, Path(folder) / "b.csv")], kind, Mapped())


SITTING = {"systolic": "120", "diastolic": "80", "setting": "home", "subject.arm_circumference_cm.left": "40",
           "site": "left-upper-arm"}  # fmt: skip
DEVICES = [
    ([("d-1", "22", "32"), ("d-1", "", ""), ("d-2", "22", "42"), ("", "", "")], 2),  # said once of each
    ([("", "22", "32"), ("", "22", "32"), ("", "22", "42"), ("", "", "")], 2),  # known by what is said of them
    ([("d-1", "", "32"), ("d-1", "22", ""), ("d-2", "", ""), ("", "22", "32")], 3),
]  # fmt: skip


@pytest.mark.parametrize(("devices", "above"), DEVICES)
def test_what_is_said_of_a_device_once_is_so_in_all_rows_of_it(tmp_path, devices, above):
    names = ("device", "cuff.arm_min_cm", "cuff.arm_max_cm")
    rows = [{"subject": "s-1", "taken_at": f"2026-03-0{place}T07:10:00Z", **SITTING, **dict(zip(names, one, strict=True))}
            for place, one in enumerate(devices, start=1)]  # fmt: skip
    file = [written(rows, tmp_path / "t.csv")]
    ((outputs, *_),) = agree(file, registry.TABLES, Mapped())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(examined.Examined, "rows_of", lambda examined, subjects: [])  # all of it by columns
        assert results(file, registry.TABLES, Mapped())[0][0] == outputs
    assert [one["readings"] for one in outputs[2] if one["rule"] == "arm-above-cuff-range"] == [above]


@pytest.mark.parametrize("first", ["22", "32"])
def test_a_device_described_in_two_ways_is_what_the_earlier_row_says(tmp_path, first):
    rows = [{"subject": "s-1", "taken_at": f"2026-03-0{place + 1}T07:10:00Z", **SITTING, "device": "d-1",
             "cuff.arm_min_cm": least} for place, least in enumerate([first, "28"])]  # fmt: skip
    ((_, problems, *_),) = agree([written(rows, tmp_path / "t.csv")], registry.NDJSON, Mapped())
    assert b'"line":3' in problems and b"rows-differ" in problems


MAPPING = """
columns:
  Who: subject
  Day: taken_at
  Hour: taken_at
  SYS: {to: systolic, unit: kPa}
  DIA: {to: diastolic, unit: kPa}
  Where: {to: setting, values: {H: home, P: office, "?": null}}
  Arm: {to: subject.arm_circumference_cm.left, unit: mm}
  Talked: {to: technique.talking, values: {yes: true, "1": true, no: false}}
  Rest: {to: technique.rested_minutes, unit: s}
fixed: {taken_by: self, cuff.arm_min_cm: 22, options.as_of: 2026-03-09}
time_zone: Europe/Oslo
time_format: "%d.%m.%Y %H:%M"
decimal: ","
ignore: everything-else
"""
MAPPED = {
    "Day": ["01.03.2026", "02.03.2026", "29.03.2026", "3.3.2026", "x", ""],
    "Hour": ["07:10", "07:11", "02:30", "", "20:10"],
    "SYS": ["18,9", "16", "17,05", "140", "x"],
    "DIA": ["10,9", "11", "9,8"],
    "Where": ["H", "H", "P", "?", "home", "Q"],
    "Arm": ["291", "291", "", "3,5"],
    "Talked": ["yes", "no", "1", "", "perhaps"],
    "Rest": ["300", "60", "", "61"],
    "Ward": ["a", ""],
}  # fmt: skip


@MANY
@given(st.lists(st.fixed_dictionaries({"Who": st.sampled_from(["s-1", "s-2", "s-3"]),
                                       **{name: st.sampled_from(cells) for name, cells in MAPPED.items()}}),
                min_size=1, max_size=14), KINDS)  # fmt: skip
def test_a_mapped_table_has_them_too(rows, kind):
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr(carrying_out, "time_format_fault", lambda *_: None)  # what stops a run is no matter here
        (Path(folder) / "m.yaml").write_text(MAPPING)
        agree([written(rows, Path(folder) / "t.csv")], kind, mapped_by(Path(folder) / "m.yaml"))


TYPED = {
    "taken_at": [pyarrow.timestamp("us", tz="Europe/Oslo"), pyarrow.timestamp("s"), pyarrow.string()],
    "systolic": [pyarrow.int16(), pyarrow.float64(), pyarrow.float32(), pyarrow.decimal128(24, 2), pyarrow.large_string()],
    "diastolic": [pyarrow.int64(), pyarrow.uint8()],
    "subject": [pyarrow.string(), pyarrow.dictionary(pyarrow.int32(), pyarrow.string()), pyarrow.int64()],
    "technique.talking": [pyarrow.bool_(), pyarrow.string(), pyarrow.int8()],
    "circumstances": [pyarrow.list_(pyarrow.string()), pyarrow.string(), pyarrow.null()],
    "cuff.arm_min_cm": [pyarrow.int32(), pyarrow.float32(), pyarrow.null()],
}


@MANY
@given(st.fixed_dictionaries({name: st.sampled_from(types) for name, types in TYPED.items()}), st.integers(0, 9), KINDS,
       st.booleans())  # fmt: skip
def test_parquet_has_them_whatever_the_types_of_its_columns(types, seed, kind, grouped):
    chance, size = np.random.default_rng(seed), 24
    when = np.datetime64("2026-03-27T22:00:00") + np.sort(chance.integers(0, 60 * 60, size)) * np.timedelta64(60, "s")
    values = {
        "taken_at": [str(one) + "Z" for one in when] if types["taken_at"] == pyarrow.string() else when.astype(object),
        "systolic": chance.choice([120, 131, 188, 500] if seed % 2 else [120, 131, 188], size),
        "diastolic": chance.integers(60, 100, size),
        "subject": np.repeat([1, 2, 3], size // 3),
        "technique.talking": chance.integers(0, 2, size).astype(bool),
        "circumstances": [["stress", "pain"], None, []] * (size // 3),
        "cuff.arm_min_cm": [22, 22, None] * (size // 3),
    }
    columns = {name: typed(cells, types[name]) for name, cells in values.items()}
    columns["setting"] = pyarrow.array(["home"] * size)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "t.parquet"
        parquet.write_table(pyarrow.table(columns), path)
        zone = Mapped(fixed={"options.time_zone": "Europe/Oslo"})
        found = agree([Input("t.parquet", PARQUET, path)], kind, zone, grouped)
    assert sum(counts.subjects for *_, counts in found) == 3


def typed(cells: list, kind: pyarrow.DataType) -> pyarrow.Array:
    """Return cells as an array of a type; texts of what is no text."""
    if pyarrow.types.is_null(kind):
        return pyarrow.nulls(len(cells))
    if pyarrow.types.is_list(kind) or pyarrow.types.is_timestamp(kind):
        return pyarrow.array(list(cells), kind)
    as_text = pyarrow.types.is_string(kind) or pyarrow.types.is_large_string(kind) or pyarrow.types.is_dictionary(kind)
    plain = [one.tolist() if isinstance(one, np.generic) else one for one in cells]
    texts = [None if one is None else ";".join(one) if isinstance(one, list) else str(one) for one in plain]
    if pyarrow.types.is_dictionary(kind):
        return pyarrow.array(texts).dictionary_encode()
    return pyarrow.array(texts if as_text else plain).cast(kind)
