"""Tables of what was found: those of the same rows in pandas, whatever the input, however often interrupted."""

import io
import json
from pathlib import Path

import pandas as pd
import pytest
from pyarrow import parquet

from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.outputs import registry
from heartlevel.bulk.parts import parts
from heartlevel.bulk.running import carrying_out as bulk
from heartlevel.bulk.running.workers import on_this_machine
from heartlevel.frames import assess_frame
from heartlevel.tables.meanings import Mapped
from support import as_csv, as_ndjson, as_rows, assess_in_process, demo, requests, rules

PAYLOADS = requests(12)


def tables(folder) -> dict[str, pd.DataFrame]:
    return {name: parquet.read_table(folder / f"{name}.parquet").to_pandas() for name in registry.RESULT_TABLES}


def assessed(folder, *files, status=10, more=()) -> dict[str, pd.DataFrame]:
    result = assess_in_process(*files, "--to", "tables", "--output", folder / "out", *more)
    assert result.exit_code == status, result.output
    return tables(folder / "out")


def in_order(found: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """Sort by subject, the order within which stays, and leave out where rows stand."""
    left_out = ["row", "first_row", "input", "line", "first_input", "first_line", *columns]
    return found.sort_values("subject", kind="stable", ignore_index=True).drop(columns=left_out, errors="ignore")


def plain(found: pd.DataFrame) -> pd.DataFrame:
    """Return cells as objects, None for nothing."""
    return found.astype(object).where(found.notna(), None)


def test_tables_of_a_file_are_those_of_its_rows_in_pandas(tmp_path):
    rows = as_rows(PAYLOADS)
    (tmp_path / "t.csv").write_text(as_csv(rows))
    found = assessed(tmp_path, tmp_path / "t.csv")
    frame = pd.DataFrame(rows).drop(columns="options.time_zone")
    wanted = assess_frame(frame, rules(), {"time_zone": "Europe/Oslo"})
    for name in registry.RESULT_TABLES:
        mine, theirs = in_order(found[name]), in_order(getattr(wanted, name))
        pd.testing.assert_frame_equal(plain(mine), plain(theirs))
    lines = found["readings"][["subject", "line"]].sort_values(["subject", "line"])["line"].tolist()
    assert lines == [place + 2 for place in range(len(rows))]
    assert set(found["readings"]["input"]) == {f"{tmp_path}/t.csv"}
    urgent = found["findings"].query("urgent and subject == 's-003'").iloc[0]
    assert rows[int(urgent["first_line"]) - 2]["subject"] == "s-003"
    assert found["findings"].query("readings == 0")["first_line"].isna().all()


def test_tables_of_requests_are_those_of_the_same_rows(tmp_path):
    (tmp_path / "t.csv").write_text(as_csv(as_rows(PAYLOADS)))
    (tmp_path / "a.ndjson").write_bytes(as_ndjson(PAYLOADS))
    mine, theirs = (assessed(tmp_path, tmp_path / name) for name in ("a.ndjson", "t.csv"))
    for name in registry.RESULT_TABLES:
        pd.testing.assert_frame_equal(in_order(mine[name]), in_order(theirs[name]))
    assert mine["readings"]["line"].tolist() == [place + 1 for place in range(12) for _ in range(3)]


def test_tables_and_answers_find_the_same_and_cannot_read_the_same(tmp_path):
    strict = {**PAYLOADS[0], "options": {"time_zone": "Europe/Oslo", "strict": True}}
    slip = {**strict, "readings": [{**strict["readings"][0], "systolic": 80, "diastolic": 120}]}
    lines = as_ndjson([*demo(), strict, slip, {"subject": {}}]) + b"{broken\n"
    (tmp_path / "a.ndjson").write_bytes(lines)
    found = assessed(tmp_path, tmp_path / "a.ndjson", status=30, more=["--problems", tmp_path / "p"])
    result = assess_in_process(tmp_path / "a.ndjson", "--json", "--problems", tmp_path / "q")
    answers = [json.loads(line) for line in result.stdout.splitlines()]
    assert (tmp_path / "p").read_bytes() == (tmp_path / "q").read_bytes()
    assert found["subjects"]["subject"].tolist() == [one["subject"]["id"] for one in answers]
    assert found["subjects"]["urgent"].tolist() == [one["urgent"] for one in answers]
    assert len(found["readings"]) == sum(len(one["readings"]) for one in answers)
    fired = {(one["subject"]["id"], finding["rule"]) for one in answers for finding in one["findings"]}
    assert set(zip(found["findings"]["subject"], found["findings"]["rule"], strict=True)) == fired


def test_a_row_that_differs_from_an_earlier_one_of_its_subject_is_named_and_assessed_alike_in_files_and_in_pandas(tmp_path):
    rows = as_rows(PAYLOADS[:3])
    for place, age in ((1, 10), (5, 999), (6, 999), (7, 50)):
        rows[place]["subject.age_years"] = age
    (tmp_path / "t.csv").write_text(as_csv(rows))
    found = assessed(tmp_path, tmp_path / "t.csv", status=30, more=["--problems", tmp_path / "p"])
    frame = pd.DataFrame(rows).drop(columns="options.time_zone")
    wanted = assess_frame(frame, rules(), {"time_zone": "Europe/Oslo"})
    assert sorted(found["subjects"]["subject"]) == sorted(wanted.subjects["subject"]) == ["s-000", "s-001", "s-002"]
    assert wanted.subjects.set_index("subject")["reason"]["s-002"] == "limits-unclear"
    pd.testing.assert_frame_equal(plain(in_order(found["subjects"])), plain(in_order(wanted.subjects)))
    named = [json.loads(line) for line in (tmp_path / "p").read_text().splitlines()]
    mine = {(one["line"] - 2, one["column"], one["code"]) for one in named}
    assert mine == {(one.row, one.column, one.code) for one in wanted.problems.itertuples()}
    assert mine == {
        (row, "subject.age_years", code)
        for row, code in [
            (1, "rows-differ"),
            (5, "rows-differ"),
            (6, "out-of-range"),
            (7, "rows-differ"),
            (8, "rows-differ"),
        ]
    }


def test_nothing_to_assess_gives_empty_tables(tmp_path):
    (tmp_path / "t.csv").write_text("subject,taken_at,systolic,diastolic,setting\n")
    found = assessed(tmp_path, tmp_path / "t.csv", status=0)
    assert [len(one) for one in found.values()] == [0] * 5
    assert "category" in found["subjects"]


class Interrupted(Exception):
    """Stands for the end of the process."""


def test_a_run_interrupted_after_every_part_ends_with_the_same_tables(tmp_path, monkeypatch):
    for most in ("MOST_ITEMS", "MOST_SUBJECTS"):
        monkeypatch.setattr(parts, most, 3)
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "lines.ndjson").write_bytes(as_ndjson(requests(7)) + b"{broken\n")
    (tmp_path / "in" / "rows.csv").write_text(as_csv(as_rows(requests(9))))
    source = bulk.bulk_inputs(inputs_of([str(tmp_path / "in")], io.BytesIO(), None, False, []), Mapped())

    def carried_out(name: str, most: int, resume: bool = True):
        def judge(plan, waiting):
            for count, found in enumerate(on_this_machine(plan, waiting, 1)):
                if count == most:
                    raise Interrupted
                yield found

        job = bulk.Job(rules(), source, registry.TABLES, tmp_path / name, tmp_path / f"{name}.problems", resume)
        return bulk.carried_out(job, judge, lambda part, judged: None, bulk.meter_for(source))

    counts = carried_out("whole", 99, resume=False)
    interruptions = 0
    while True:
        try:
            assert carried_out("parted", 1) == counts
            break
        except Interrupted:
            interruptions += 1
    assert interruptions == 5
    whole, parted = ({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("whole", "parted"))
    assert parted == whole
    assert set(whole) == {f"{name}.parquet" for name in registry.RESULT_TABLES}


def test_one_worker_or_several_write_the_same_tables(tmp_path, monkeypatch):
    monkeypatch.setattr(parts, "MOST_SUBJECTS", 3)
    (tmp_path / "t.csv").write_text(as_csv(as_rows(PAYLOADS)))
    written = []
    for workers in ("1", "3"):
        assessed(tmp_path, tmp_path / "t.csv", more=["--workers", workers])
        written.append([(tmp_path / "out" / f"{name}.parquet").read_bytes() for name in registry.RESULT_TABLES])
    assert written[0] == written[1]


@pytest.mark.parametrize(
    ("more", "said"),
    [(["--to", "tables"], "--to tables needs --output FOLDER"),
     (["--to", "tables", "--output", "{}/t.csv"], "a folder is to be written there"),
     (["--to", "ndjson", "--output", "{}"], "a file is to be written there")],
)  # fmt: skip
def test_an_output_that_cannot_be_is_a_wrong_call_before_anything_is_assessed(tmp_path, more, said):
    (tmp_path / "t.csv").write_text(as_csv(as_rows(PAYLOADS)))
    result = assess_in_process(tmp_path / "t.csv", *[one.format(tmp_path) for one in more])
    assert (result.exit_code, said in result.stderr) == (2, True)


def test_tables_written_into_the_folder_read_are_no_input(tmp_path):
    (tmp_path / "t.csv").write_text(as_csv(as_rows(PAYLOADS)))
    for _ in range(2):
        assert len(assessed(tmp_path, Path(tmp_path))["subjects"]) == 12


def test_texts_that_repeat_are_in_a_tables_dictionary_once(tmp_path):
    (tmp_path / "t.csv").write_text(as_csv(as_rows(PAYLOADS)))
    assess_in_process(tmp_path / "t.csv", "--to", "tables", "--output", tmp_path / "out")
    whole = parquet.ParquetFile(tmp_path / "out" / "findings.parquet").metadata.row_group(0)
    columns = [whole.column(number) for number in range(whole.num_columns)]
    encodings = {column.path_in_schema: column.encodings for column in columns}
    assert all("RLE_DICTIONARY" in encodings[name] for name in ("subject", "rule", "scope", "severity", "effect"))
