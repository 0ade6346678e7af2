"""What is written: answers in order, tables of answers and findings, the same for any number of workers."""

import csv
import json
import subprocess
import sys

import pytest
from pyarrow import parquet

from heartlevel.bulk.parts import parts
from support import answer, as_csv, as_ndjson, as_rows, assess_in_process, demo, requests

PAYLOADS = [*demo(), *requests(9)]


@pytest.fixture
def lines(tmp_path, monkeypatch):
    for most in ("MOST_ITEMS", "MOST_SUBJECTS"):
        monkeypatch.setattr(parts, most, 4)
    (tmp_path / "a.ndjson").write_bytes(as_ndjson(PAYLOADS))
    return tmp_path / "a.ndjson"


@pytest.mark.parametrize("name", ["out.ndjson", "out.parquet", "f.csv", "f.parquet"])
def test_one_worker_or_several_write_the_same_bytes(lines, name):
    (lines.parent / "t.csv").write_text(as_csv(as_rows(requests(9))))
    kind = ["--to", "findings"] if name.startswith("f") else []
    written = []
    for workers in (1, 3):
        out = lines.parent / name
        result = assess_in_process(lines, lines.parent / "t.csv", "--output", out, "--workers", workers, *kind)
        assert result.exit_code == 30
        written.append(out.read_bytes())
    assert written[0] == written[1]


def test_answers_come_in_the_order_of_the_requests_and_are_those_of_one_call(lines):
    found = assess_in_process(lines, "--json", "--workers", "3").stdout.splitlines()
    assert [json.loads(line) for line in found] == [answer(one) for one in PAYLOADS]


def test_a_table_of_answers_has_a_row_a_subject_with_the_whole_answer(lines):
    assess_in_process(lines, "--output", lines.parent / "out.parquet")
    rows = parquet.read_table(lines.parent / "out.parquet").to_pylist()
    wanted = [answer(one) for one in PAYLOADS]
    assert [json.loads(row["answer"]) for row in rows] == wanted
    assert [(row["subject"], row["urgent"], row["category"], row["readings"], row["pattern"]) for row in rows] == [
        (one["subject"]["id"], one["urgent"], one["classification"]["category"], len(one["readings"]),
         one["pattern"]["label"]) for one in wanted
    ]  # fmt: skip


def test_both_tables_of_findings_have_a_row_a_finding(lines):
    for name in ("f.csv", "f.parquet"):
        assess_in_process(lines, "--to", "findings", "--output", lines.parent / name)
    with (lines.parent / "f.csv").open(newline="") as file:
        as_text = list(csv.DictReader(file))
    rows = parquet.read_table(lines.parent / "f.parquet").to_pylist()
    wanted = [(one["subject"]["id"], finding) for one in map(answer, PAYLOADS) for finding in one["findings"]]
    assert len(as_text) == len(rows) == len(wanted) > 50
    for row, text, (subject, finding) in zip(rows, as_text, wanted, strict=True):
        assert (row["subject"], row["rule"], row["urgent"], row["readings"], json.loads(row["facts"])) == (
            subject, finding["rule"], finding["urgent"], finding["readings"], finding["facts"])  # fmt: skip
        assert (text["subject"], text["urgent"], json.loads(text["readings"]), text["explanation"]) == (
            subject, str(finding["urgent"]).lower(), finding["readings"], finding["explanation"])  # fmt: skip


def test_parquet_without_a_file_is_a_wrong_call(lines):
    assert assess_in_process(lines, "--to", "parquet").exit_code == 2


def test_progress_and_a_summary_go_to_standard_error_only_where_asked_for(lines):
    shown = assess_in_process(lines, "--json", "--progress").stderr
    assert "readings/s" in shown and f"{len(PAYLOADS)} subjects, " in shown
    assert assess_in_process(lines, "--json").stderr == ""


def test_problems_of_a_request_are_named_by_pointer_without_values(tmp_path):
    bad = {**PAYLOADS[-1], "readings": [*PAYLOADS[-1]["readings"], {**PAYLOADS[-1]["readings"][0], "systolic": "secret"}]}
    text = as_ndjson([bad]) + b"{secret\n" + as_ndjson([{"subject": {"id": 77123}, "readings": []}])
    result = assess_in_process("-", "--json", "--problems", tmp_path / "p", given=text)
    found = [json.loads(line) for line in (tmp_path / "p").read_text().splitlines()]
    assert [(one["line"], one["pointer"], one["code"]) for one in found] == [
        (1, "/readings/3/systolic", "not-a-number"), (2, None, "not-json"), (3, "/subject/id", "not-a-text")]  # fmt: skip
    assert not any(value in (tmp_path / "p").read_text() for value in ("secret", "77123"))
    assert result.stderr == ""


def test_findings_alone_say_that_something_could_not_be_read(tmp_path):
    text = as_ndjson([{**PAYLOADS[-1], "readings": [{**PAYLOADS[-1]["readings"][0], "systolic": "secret"}]}])
    result = assess_in_process("-", "--to", "findings", given=text)
    assert (result.exit_code, result.stderr) == (20, "problems in what was read: 1; --problems FILE names each\n")
    result = assess_in_process("-", "--to", "findings", "--problems", tmp_path / "p", given=text)
    assert (result.exit_code, result.stderr) == (20, "")


WITHOUT = """
import sys
sys.modules["pyarrow"] = None
from heartlevel.command.main import main
main()
"""


@pytest.mark.parametrize("more", [[], ["--to", "findings"]])
def test_where_tables_cannot_be_read_or_written_nothing_is_begun(lines, more):
    command = [sys.executable, "-c", WITHOUT, "assess", str(lines), "--output", str(lines.parent / "out.parquet"), *more]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert ended.returncode == 1 and "assess needs pyarrow, which is not installed" in ended.stderr
    assert [path.name for path in lines.parent.iterdir()] == [lines.name]
