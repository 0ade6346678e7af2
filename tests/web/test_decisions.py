"""What was decided is kept without data: whole lines, whatever processes write them, and no answer is lost for it."""

import csv
import json
import logging
import os
import resource
from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel import answer_to
from heartlevel.command.main import main
from heartlevel.decisions.decided import decided_in
from heartlevel.decisions.lines import LinesNotKept
from heartlevel.decisions.log import DecisionLog
from heartlevel.web.application import create_app
from support import demo, demo_answers, rules, week

SEVERE = week(days=2, pressures=((191, 123), (189, 121)), technique={"legs_crossed": True})
NEVER_KEPT = {"subject", "id", "systolic", "diastolic", "facts", "readings", "title", "text", "taken_at"}
CHOSEN = {"time", "request"}  # of the moment, and not of what was decided


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "decisions.ndjson"


@pytest.fixture
def app(kept):
    return create_app({"DECISIONS": str(kept)}, rules())


def lines_in(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def without(line: dict, names: set[str]) -> dict:
    return {name: value for name, value in line.items() if name not in names}


def test_an_assessed_request_leaves_a_line_that_names_rules_and_no_data(client, kept):
    answer = client.post("/v1/assessments", json=SEVERE, headers={"X-Request-Id": "r-77"}).get_json()
    (line,) = lines_in(kept)
    assert line["request"] == "r-77"
    assert line["fingerprint"] == answer["made_with"]["rules"]["fingerprint"]
    assert (line["received"], line["assessed"], line["lost"]) == (8, 8, 0)
    assert line["rules"]["legs-crossed"] == 8
    assert (line["category"], line["urgency"]) == (answer["classification"]["category"], answer["urgency"]["level"])
    assert line["urgency"] != "none"
    assert not NEVER_KEPT & set(line)
    written = kept.read_text()
    assert not [value for value in ("s-1", "191", "123", "189", "121", "2026-03") if value in written.split('"request"')[1]]
    assert kept.stat().st_mode & 0o077 == 0


def test_a_stream_leaves_a_line_for_each_request_that_was_assessed(client, kept):
    body = "\n".join(map(json.dumps, [demo()[0], {"subject": {}}, demo()[1]]))
    client.post("/v1/assessments", data=body, content_type="application/x-ndjson").get_data()
    assert [line["line"] for line in lines_in(kept)] == [1, 3]
    wanted = [decided_in(demo_answers()[number]) for number in (0, 1)]
    assert [without(line, CHOSEN | {"line"}) for line in lines_in(kept)] == wanted


def test_a_refused_request_and_other_routes_leave_none(client, kept):
    client.post("/v1/assessments", json={"subject": {}})
    client.get("/ready")
    assert lines_in(kept) == []


def assessed(*arguments: object) -> None:
    done = CliRunner().invoke(main, ["assess", *map(str, arguments), "--workers", "1"])
    assert done.exit_code in (0, 10, 30), done.output  # urgent, and partly unreadable


def test_files_leave_what_the_answers_to_the_same_requests_leave(tmp_path, kept):
    sent = tmp_path / "requests.ndjson"
    sent.write_text("".join(json.dumps(payload) + "\n" for payload in demo()))
    assessed(sent, "--to", "ndjson", "--output", tmp_path / "out.ndjson", "--decisions", kept)
    lines = lines_in(kept)
    assert [(line["input"], line["line"]) for line in lines] == [(1, number) for number in range(1, len(demo()) + 1)]
    assert len({line["request"] for line in lines}) == 1
    assert [without(line, CHOSEN | {"input", "line"}) for line in lines] == list(map(decided_in, demo_answers()))


def test_tables_leave_the_same_by_the_row_that_a_subject_begins_in(tmp_path, kept, monkeypatch):
    names = ("subject", "taken_at", "setting", "systolic", "diastolic")
    table = tmp_path / "readings.csv"
    with table.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(names)
        for who in ("a", "b"):
            writer.writerows([who, *(reading[name] for name in names[1:])] for reading in SEVERE["readings"])
    monkeypatch.setenv("HEARTLEVEL_DECISIONS", str(kept))
    assessed(table, "--to", "tables", "--output", tmp_path / "out")
    sent = {"subject": {"id": "a"}, "readings": [
        {name: reading[name] for name in names[1:]} for reading in SEVERE["readings"]]}  # fmt: skip
    wanted = decided_in(answer_to(sent, rules()))
    assert sorted(line["line"] for line in lines_in(kept)) == [2, 10]
    assert [without(line, CHOSEN | {"input", "line"}) for line in lines_in(kept)] == [wanted, wanted]


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_lines_of_several_processes_stay_whole(kept):
    log, long = DecisionLog(kept), {"rules": {f"rule-{number}": number for number in range(400)}}
    children = []
    for name in ("one", "two", "three"):
        if (child := os.fork()) == 0:
            for _ in range(60):
                log.write(name, [long, long])
            os._exit(0)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0, 0]
    assert len(lines_in(kept)) == 3 * 60 * 2
    assert all(line["rules"] == long["rules"] for line in lines_in(kept))


def test_a_rotated_file_keeps_its_lines_and_a_new_one_is_begun(kept):
    log = DecisionLog(kept)
    log.write("before", [{}])
    rotated = kept.rename(kept.with_suffix(".1"))
    log.write("after", [{}])
    assert [[line["request"] for line in lines_in(path)] for path in (rotated, kept)] == [["before"], ["after"]]
    kept.unlink()
    log.write("removed", [{}])
    assert [line["request"] for line in lines_in(kept)] == ["removed"]


def test_a_full_disk_costs_no_answer_and_is_counted_and_said_once(caplog):
    client = create_app({"DECISIONS": "/dev/full"}, rules()).test_client()
    before = lost_by(client)
    for _ in range(3):
        assert client.post("/v1/assessments", json=week(days=1)).status_code == 200
    assert lost_by(client) == before + 3
    told = [record.message for record in caplog.records if record.levelno == logging.ERROR]
    assert told == ["decisions cannot be kept (No space left on device); they are counted until they can"]


def lost_by(client) -> float:
    lines = client.get("/metrics").text.splitlines()
    return float(next(line.split()[1] for line in lines if line.startswith("heartlevel_decisions_lost_total ")))


def test_half_a_line_is_taken_back_and_later_ones_are_kept_again(kept):
    log = DecisionLog(kept)
    log.write("first", [{}])
    size, limits = kept.stat().st_size, resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 20, limits[1]))  # files cannot grow beyond: a disk all but full
    try:
        log.write("second", [{}])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert (kept.stat().st_size, log.lost) == (size, 1)
    log.write("third", [{}])
    assert [line["request"] for line in lines_in(kept)] == ["first", "third"]


def test_a_file_that_cannot_be_written_is_told_before_anybody_is_answered(tmp_path, monkeypatch):
    with pytest.raises(LinesNotKept, match="No such file or directory"):
        create_app({"DECISIONS": str(tmp_path / "nowhere" / "kept")}, rules())
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(LinesNotKept):  # and nobody waits for a reader
        DecisionLog(tmp_path / "pipe")
    sent = tmp_path / "request.json"
    sent.write_text(json.dumps(week(days=1)))
    refused = CliRunner().invoke(main, ["assess", str(sent), "--decisions", str(tmp_path / "nowhere" / "kept")])
    assert (refused.exit_code, "decisions cannot be kept in" in refused.output) == (2, True)
