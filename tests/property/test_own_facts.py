"""Facts of one's own get one answer through every door: request, DataFrame and CSV, good cells and bad."""

import csv
import json
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heartlevel import answer_to
from heartlevel.command import assess as assessing
from heartlevel.command.main import main
from heartlevel.frames import assess_frame
from own_layer import OWN_RULES, own_rules
from support import examples, reading

MANY = settings(max_examples=examples(8), deadline=None, suppress_health_check=list(HealthCheck))
CELLS = {
    "technique.after_hot_bath": ["", "true", "FALSE", "maybe"],
    "technique.garment_under_cuff": ["", "none", "Thick sleeve", "thick-sleeve", "shrt"],
    "technique.room_temperature": ["", "17", "18", "17.5", "45", "warm"],
    "subject.shown_how": ["", "true", "false", "no"],
    "device.battery_changed_days": ["", "366", "365", "-1"],
}
Cells = dict[str, str]


@st.composite
def tables(draw) -> list[Cells]:
    """A row a subject: then no row differs from another of the same person."""
    count = draw(st.integers(1, 6))
    return [{name: draw(st.sampled_from(values)) for name, values in CELLS.items()} for _ in range(count)]


def as_request(number: int, cells: Cells) -> dict:
    known: dict = {"subject": {}, "technique": {}, "device": {}}
    for name, cell in cells.items():
        part, _, field = name.partition(".")
        if cell:
            known[part][field] = cell
    devices = [{"id": "d", **known["device"]}] if known["device"] else []
    taken = reading("2026-03-02T07:10:00+01:00", 142, 88, technique=known["technique"], device="d" if devices else None)
    return {"subject": {"id": f"s-{number}", **known["subject"]}, "devices": devices, "readings": [taken]}


def as_row(number: int, cells: Cells) -> Cells:
    row = {"subject": f"s-{number}", "taken_at": "2026-03-02T07:10:00+01:00", "systolic": "142", "diastolic": "88",
           "setting": "home"}  # fmt: skip
    return row | {"device": "d" if cells["device.battery_changed_days"] else ""} | cells


def fired_in(answers: dict[str, dict]) -> set[tuple[str, str]]:
    return {(name, one["rule"]) for name, answer in answers.items() for one in answer["findings"]}


@MANY
@given(tables())
def test_tables_say_what_requests_say(rows):
    numbered = list(enumerate(rows))
    answers = {f"s-{number}": answer_to(as_request(number, cells), own_rules()) for number, cells in numbered}
    written = [as_row(number, cells) for number, cells in numbered]
    framed = assess_frame(pd.DataFrame(written), own_rules())
    assert set(framed.findings[["subject", "rule"]].itertuples(index=False, name=None)) == fired_in(answers)
    codes = sorted(problem["code"] for answer in answers.values() for problem in answer["problems"])
    assert sorted(framed.problems["code"]) == codes
    by_file = {answer["subject"]["id"]: answer for answer in by_csv(written)}
    for name, answer in answers.items():
        assert by_file[name]["findings"] == answer["findings"], name
        assert by_file[name]["undocumented"] == answer["undocumented"]
        assert {one["code"] for one in by_file[name]["problems"]} == {one["code"] for one in answer["problems"]}


def by_csv(rows: list[Cells]) -> list[dict]:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "t.csv"
        with path.open("w", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(rows)
        return assessed(path)


def assessed(path: Path) -> list[dict]:
    """The answers that the command gives to a file, under the layer."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assessing, "loaded", lambda folder, layers: own_rules())
        arguments = ["assess", str(path), "--layer", str(path.parent), "--workers", "1", "--json"]
        return [json.loads(line) for line in CliRunner().invoke(main, arguments).stdout.splitlines()]


def test_every_rule_of_ones_own_fires_in_some_table():
    fires = {"technique.after_hot_bath": "true", "technique.garment_under_cuff": "thick-sleeve",
             "technique.room_temperature": "17", "subject.shown_how": "false",
             "device.battery_changed_days": "366"}  # fmt: skip
    found = assess_frame(pd.DataFrame([as_row(0, fires)]), own_rules()).findings
    assert set(OWN_RULES) <= set(found["rule"])


def test_numbers_and_truths_of_a_frame_and_of_parquet_are_taken_by_columns(tmp_path):
    rows = [{**as_row(number, dict.fromkeys(CELLS, "")), "technique.room_temperature": 17.0 + number,
             "technique.after_hot_bath": bool(number)} for number in range(2)]  # fmt: skip
    frame = pd.DataFrame(rows)
    found = assess_frame(frame, own_rules())
    fired = set(found.findings[["subject", "rule"]].itertuples(index=False, name=None))
    frame.to_parquet(tmp_path / "t.parquet")
    assert fired_in({answer["subject"]["id"]: answer for answer in assessed(tmp_path / "t.parquet")}) == fired
    assert {("s-0", "cold-room"), ("s-1", "after-hot-bath")} <= fired
    assert not {("s-1", "cold-room"), ("s-0", "after-hot-bath")} & fired
    assert found.problems.empty


def test_a_misspelt_column_is_told_with_the_own_fact_that_is_near():
    found = assess_frame(pd.DataFrame([as_row(0, dict.fromkeys(CELLS, "")) | {"technique.room_temp": "17"}]), own_rules())
    (problem,) = found.problems.itertuples()
    assert (problem.code, problem.hint) == ("unknown-key", "did you mean 'technique.room_temperature'?")
