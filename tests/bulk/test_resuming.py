"""Runs interrupted at any point, killed children included, end with the bytes of a run that was not."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import heartlevel
from heartlevel.bulk import journal
from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.outputs import registry
from heartlevel.bulk.parts import parts
from heartlevel.bulk.running import carrying_out as bulk
from heartlevel.bulk.running.workers import on_this_machine
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.tables.meanings import Mapped
from support import as_csv, as_ndjson, as_rows, assess_in_process, requests, rules

KINDS = {"a.ndjson": registry.NDJSON, "f.csv": registry.FINDINGS_CSV, "a.parquet": registry.ANSWERS_PARQUET,
         "f.parquet": registry.FINDINGS_PARQUET}  # fmt: skip
COMMAND = "from heartlevel.command.main import main; main()"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(heartlevel.__file__).parents[1])}


class Interrupted(Exception):
    """Stands for the end of the process."""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Requests as lines and as rows, one of them bad, cut into parts of three."""
    for most in ("MOST_ITEMS", "MOST_SUBJECTS"):
        monkeypatch.setattr(parts, most, 3)
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "lines.ndjson").write_bytes(as_ndjson(requests(7)) + b"{broken\n")
    (tmp_path / "in" / "rows.csv").write_text(as_csv(as_rows(requests(9))))
    return tmp_path


def carried_out(folder, name, judge=None, resume=False):
    source = bulk.bulk_inputs(inputs_of([str(folder / "in")], io.BytesIO(), None, False, []), Mapped())
    job = bulk.Job(rules(), source, KINDS[name], folder / name, folder / "problems", resume)
    judge = judge or (lambda plan, waiting: on_this_machine(plan, waiting, 1))
    return bulk.carried_out(job, judge, lambda part, judged: None, bulk.meter_for(source))


def ending_after(most: int):
    """Judge so many parts, then end."""

    def judge(plan, waiting):
        for count, found in enumerate(on_this_machine(plan, waiting, 1)):
            if count == most:
                raise Interrupted
            yield found

    return judge


def files_in(folder) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.mark.parametrize("name", KINDS)
def test_a_run_interrupted_after_every_part_ends_with_the_same_bytes_and_counts(folder, name):
    counts, whole = carried_out(folder, name), files_in(folder)
    assert set(whole) == {name, "problems"}
    assert (counts.subjects, counts.readings, counts.urgent, counts.refused, counts.problems) == (16, 48, 6, 1, 1)
    for path in whole:
        (folder / path).unlink()
    interruptions = 0
    while True:
        try:
            found = carried_out(folder, name, ending_after(1), resume=True)
            break
        except Interrupted:
            interruptions += 1
            assert not (folder / name).exists()
    assert interruptions >= 5
    assert (files_in(folder), found) == (whole, counts)


@pytest.mark.parametrize("left", ["{torn", '{"parts":9,"torn', ""])
def test_what_was_half_written_does_not_count(folder, left):
    whole = carried_out(folder, "a.ndjson") and files_in(folder)
    with pytest.raises(Interrupted):
        carried_out(folder, "a.ndjson", ending_after(2))
    half = {"a.ndjson.partial": "{half" * 100_000, "problems.partial": "{half", "a.ndjson.journal": left}
    for name, torn in half.items():
        with (folder / name).open("a") as file:
            file.write(torn)
    carried_out(folder, "a.ndjson", resume=True)
    assert files_in(folder) == whole


@pytest.mark.parametrize("name", ["a.ndjson", "a.parquet"])
@pytest.mark.parametrize("step", range(6))
def test_an_interruption_while_files_take_their_names_loses_nothing(folder, monkeypatch, name, step):
    whole = carried_out(folder, name) and files_in(folder)
    steps = 0

    def counted(real):
        def once(*given, **more):
            nonlocal steps
            steps += 1
            if steps == step + 1:
                raise Interrupted
            return real(*given, **more)

        return once

    with monkeypatch.context() as patch:
        patch.setattr(journal, "SECONDS_AT_RISK", 0)
        patch.setattr(bulk.Journal, "_note", counted(bulk.Journal._note))
        patch.setattr(Path, "replace", counted(Path.replace))
        patch.setattr(Path, "unlink", counted(Path.unlink))
        steps = -7  # parts written before: the head and six parts
        try:
            carried_out(folder, name)
        except Interrupted:
            carried_out(folder, name, resume=True)
    carried_out(folder, name, resume=True)
    assert files_in(folder) == whole


def refused(folder, **options):
    with pytest.raises(WrongCall) as wrong:
        carried_out(folder, resume=True, **options)
    return str(wrong.value)


def test_a_run_is_not_resumed_with_other_rules_options_or_inputs(folder, monkeypatch):
    with pytest.raises(Interrupted):
        carried_out(folder, "a.parquet", ending_after(2))
    left = files_in(folder)
    with monkeypatch.context() as patch:
        patch.setitem(KINDS, "a.parquet", registry.FINDINGS_PARQUET)
        assert "the options, or the mapping of columns, are others" in refused(folder, name="a.parquet")
    with monkeypatch.context() as patch:
        patch.setattr(bulk.Job, "head", lambda job, real=bulk.Job.head: {**real(job), "rules": "other"})
        assert "the rules are others" in refused(folder, name="a.parquet")
    lines = folder / "in" / "lines.ndjson"
    content = lines.read_bytes()
    lines.write_bytes(content.replace(b"121", b"122"))
    assert "the inputs were changed in what was assessed already" in refused(folder, name="a.parquet")
    lines.write_bytes(content + b"{}\n")
    assert "the inputs are others, or of another size" in refused(folder, name="a.parquet")
    lines.write_bytes(content)
    assert files_in(folder) == left
    carried_out(folder, "a.parquet", resume=True)


def flipped(path: Path, place: int) -> None:
    """Change one bit of a file."""
    content = bytearray(path.read_bytes())
    content[place] ^= 1
    path.write_bytes(content)


@pytest.fixture
def interrupted(folder, monkeypatch):
    """A run that noted each of three parts and was then interrupted."""
    monkeypatch.setattr(journal, "SECONDS_AT_RISK", 0)
    whole = carried_out(folder, "a.ndjson") and files_in(folder)
    with pytest.raises(Interrupted):
        carried_out(folder, "a.ndjson", ending_after(3))
    noted = [json.loads(line)["sizes"] for line in (folder / "a.ndjson.journal").read_bytes().splitlines()[1:]]
    return folder, whole, noted


@pytest.mark.parametrize("name", ["a.ndjson.partial", "problems.partial"])
def test_a_changed_byte_in_what_was_written_is_found_at_its_place_and_the_run_can_begin_anew(interrupted, name):
    folder, whole, noted = interrupted
    number = ("a.ndjson.partial", "problems.partial").index(name)
    ends = [sizes[number] for sizes in noted]
    content = (folder / name).read_bytes()
    for place in (0, ends[0] - 1, ends[0], ends[-1] - 1):
        if not 0 <= place < ends[-1]:
            continue
        flipped(folder / name, place)
        told = refused(folder, name="a.ndjson")
        first = next(end for end in ends if end > place)
        before = max((end for end in ends if end < first), default=0)
        assert f"{name} was changed between its bytes {before} and {first}" in told and "it begins anew" in told
        (folder / name).write_bytes(content)
    (folder / name).write_bytes(content[: ends[-1] - 1])
    assert f"{name} has only {ends[-1] - 1} bytes" in refused(folder, name="a.ndjson")
    carried_out(folder, "a.ndjson")
    assert files_in(folder) == whole


def test_a_changed_byte_anywhere_in_the_journal_is_told_with_its_line(interrupted):
    folder, whole, _ = interrupted
    path = folder / "a.ndjson.journal"
    content = path.read_bytes()
    for place in range(0, len(content) - 1, 7):
        flipped(path, place)
        told = refused(folder, name="a.ndjson")
        assert "a.ndjson.journal was changed" in told and "it begins anew" in told
        path.write_bytes(content)
    carried_out(folder, "a.ndjson", resume=True)
    assert files_in(folder) == whole


def test_the_fingerprint_of_the_rules_is_part_of_what_must_be_the_same(folder):
    source = bulk.bulk_inputs([], Mapped())
    assert bulk.Job(rules(), source, registry.NDJSON).head()["rules"] == rules().ruleset.fingerprint


def test_two_runs_do_not_write_one_output(folder):
    def judge(plan, waiting):
        assert "being written by another process" in refused(folder, name="a.ndjson")
        yield from on_this_machine(plan, waiting, 1)

    carried_out(folder, "a.ndjson", judge)


def test_resuming_needs_an_output():
    assert assess_in_process("-", "--resume", given="").exit_code == 2


def started(folder, *arguments):
    command = [sys.executable, "-c", COMMAND, "assess", str(folder / "in"), "--output", str(folder / "out.ndjson"),
               "--problems", str(folder / "problems"), "--workers", "2", *arguments]  # fmt: skip
    return subprocess.Popen(command, env=ENVIRONMENT, stderr=subprocess.PIPE)


def children_of(process) -> list[int]:
    return [int(one) for one in Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()]


def journal_lines(folder) -> int:
    path = folder / "out.ndjson.journal"
    return path.read_bytes().count(b"\n") if path.exists() else 0


def until(true, seconds=120):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


LINES = 2000  # sixteen parts: enough to take a second or two


@pytest.fixture
def many(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "lines.ndjson").write_bytes(as_ndjson(requests(LINES, 2)) + b"{broken\n")
    (tmp_path / "in" / "rows.csv").write_text(as_csv(as_rows(requests(700, 2))))
    return tmp_path


def test_killed_twice_and_resumed_no_subject_is_lost_or_repeated(many):
    for _ in range(2):
        known = journal_lines(many)
        process = started(many, "--resume")
        until(lambda: journal_lines(many) > known + 1 or process.poll() is not None)  # noqa: B023 (called before it changes)
        assert process.poll() is None, "it was done before it could be killed"
        workers = children_of(process)
        process.kill()
        assert process.wait() == -signal.SIGKILL
        process.stderr.close()
        assert not (many / "out.ndjson").exists()
        assert workers
        until(lambda: not any(Path(f"/proc/{one}").exists() for one in workers), 20)  # noqa: B023
    process = started(many, "--resume")
    process.communicate()
    found = files_in(many)
    assert sorted(one.name for one in many.iterdir()) == ["in", "out.ndjson", "problems"]
    assert (process.returncode, set(found)) == (30, {"out.ndjson", "problems"})
    for path in found:
        (many / path).unlink()
    assert started(many).communicate() and files_in(many) == found
    subjects = [json.loads(line)["subject"]["id"] for line in found["out.ndjson"].splitlines()]
    assert subjects[:LINES] == [one["subject"]["id"] for one in requests(LINES, 2)]
    assert sorted(subjects[LINES:]) == sorted(one["subject"]["id"] for one in requests(700, 2))


def test_a_worker_killed_ends_the_run_which_can_be_resumed(many):
    process = started(many)
    until(lambda: journal_lines(many) > 1)  # the first is the head
    os.kill(children_of(process)[0], signal.SIGKILL)
    assert b"--resume goes on" in process.communicate()[1]
    assert process.returncode == 1
    process = started(many, "--resume")
    process.communicate()
    assert (process.returncode, len((many / "out.ndjson").read_bytes().splitlines())) == (30, LINES + 700)
