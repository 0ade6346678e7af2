"""Changed rule files are taken over whole, or not at all."""

import json
import os
import shutil
import threading
from copy import copy
from pathlib import Path

import numpy as np
import pytest

from heartlevel.compiling import apart
from heartlevel.compiling.program import Compiled
from heartlevel.one_call import TOGETHER
from heartlevel.resources import shipped
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.running import truth
from heartlevel.web.application import create_app
from heartlevel.web.rules import reloading
from heartlevel.web.rules.noticeboard import Noticeboard
from support import rules, week


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))


@pytest.fixture
def app(folder):
    return create_app({"RULES": str(folder)}, rules())


def revise(folder: Path, revision: str) -> None:
    file = folder / "ruleset.yaml"
    file.write_text(file.read_text().replace("2026.", revision))


def look(app) -> None:
    """Look twice: a change must have been left alone from one look to the next."""
    app.extensions["heartlevel"].look()
    app.extensions["heartlevel"].look()


def fingerprint(client) -> str:
    return client.post("/v1/assessments", json=week(days=1)).get_json()["made_with"]["rules"]["fingerprint"]


def test_changed_files_are_taken_over_without_a_restart(app, client, folder):
    before = fingerprint(client)
    revise(folder, "2027.")
    assert fingerprint(client) == before
    look(app)
    ready = client.get("/ready").get_json()
    assert (ready["rules"]["revision"][:5], ready["refused"]) == ("2027.", [])
    assert fingerprint(client) == ready["rules"]["fingerprint"] != before
    assert 'heartlevel_rule_reloads_total{outcome="taken"}' in client.get("/metrics").text


def test_files_with_mistakes_leave_the_old_rules_and_say_why(app, client, folder, caplog):
    before = fingerprint(client)
    posture = folder / "reading" / "posture.yaml"
    good = posture.read_text()
    posture.write_text(good.replace("legs_crossed:", "legs_crosed:", 1))
    look(app)
    ready = client.get("/ready").get_json()
    assert "reading/posture.yaml" in ready["refused"][0] and "did you mean 'legs_crossed'?" in ready["refused"][0]
    assert (ready["status"], ready["rules"]["fingerprint"], fingerprint(client)) == ("ready", before, before)
    assert ready["refused"][0] in caplog.text
    assert "heartlevel_rules_refused 1.0" in client.get("/metrics").text
    posture.write_text(good)
    look(app)
    assert client.get("/ready").get_json()["refused"] == []
    assert "heartlevel_rules_refused 0.0" in client.get("/metrics").text


def test_a_file_is_not_read_while_it_is_being_written(app, folder):
    in_force = app.extensions["heartlevel"]
    revise(folder, "2027.")
    in_force.look()
    assert in_force.current.ruleset.revision.startswith("2026.")


def test_files_that_change_while_they_are_read_are_looked_at_again(app, folder, monkeypatch):
    monkeypatch.setattr(apart.pickle, "loads", lambda written: Compiled(was_changing=True))
    in_force = app.extensions["heartlevel"]
    before = in_force.current
    revise(folder, "2028.")
    look(app)
    assert (in_force.current, in_force.refused) == (before, ())


def test_a_compiler_that_crashes_leaves_the_old_rules(app, client, folder, monkeypatch):
    before = fingerprint(client)
    revise(folder, "2027.")
    monkeypatch.setattr(apart, "PROGRAM", "no_such_module")
    look(app)
    (refused,) = client.get("/ready").get_json()["refused"]
    assert refused == "the rules could not be compiled: it ended with status 1; try 2 follows after 4 s"
    assert fingerprint(client) == before


def test_a_compiler_that_was_killed_is_tried_again_after_longer_and_longer_pauses(app, client, folder, monkeypatch):
    clock, command = [1000.0], apart.subprocess.run
    monkeypatch.setattr(reloading, "monotonic", lambda: clock[0])

    def killed(*_, **__):
        raise apart.subprocess.CalledProcessError(-9, "compile")

    monkeypatch.setattr(apart.subprocess, "run", killed)
    revise(folder, "2027.")
    told = "the rules could not be compiled: it was killed (SIGKILL); try {} follows after {} s"
    for number, pause in enumerate((4, 8, 16), start=2):
        look(app)
        assert client.get("/ready").get_json()["refused"] == [told.format(number, pause)]
        clock[0] += pause - 1
        look(app)
        assert client.get("/ready").get_json()["refused"] == [told.format(number, pause)]
        clock[0] += 1
    monkeypatch.setattr(apart.subprocess, "run", command)
    look(app)
    ready = client.get("/ready").get_json()
    assert (ready["rules"]["revision"][:5], ready["refused"]) == ("2027.", [])


def test_a_change_of_one_size_is_found_though_its_time_was_put_back(app, client, folder):
    head = folder / "ruleset.yaml"
    before = head.stat()
    revise(folder, "2027.")
    os.utime(head, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (head.stat().st_size, head.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    look(app)
    assert client.get("/ready").get_json()["rules"]["revision"].startswith("2027.")


def test_a_file_that_something_writes_to_without_end_is_named(app, client, folder, caplog):
    growing = folder / "reading" / "growing.yaml"
    for number in range(reloading.RESTLESS):
        growing.write_text("# another line\n" * number)
        assert client.get("/ready").get_json()["refused"] == []
        app.extensions["heartlevel"].look()
    (told,) = client.get("/ready").get_json()["refused"]
    assert told.startswith("rule files change at every look") and str(growing) in caplog.text
    growing.unlink()
    look(app)
    assert client.get("/ready").get_json()["refused"] == []


def test_files_that_were_only_touched_are_not_loaded_again(app, folder, monkeypatch):
    monkeypatch.setattr(reloading, "compiled_apart", None)  # there is nothing to compile
    for path in folder.rglob("*.yaml"):
        os.utime(path, ns=(1, 1))
    look(app)
    assert app.extensions["heartlevel"].refused == ()


def test_rules_compiled_apart_answer_as_those_compiled_here(folder):
    compiled = apart.compiled_apart(folder, ())
    assert compiled.ruleset.fingerprint == rules().ruleset.fingerprint
    app = create_app({}, compiled)
    other = create_app({}, rules())
    one, two = (which.test_client().post("/v1/assessments", json=week()).data for which in (app, other))
    assert one == two


def test_what_the_engine_was_asked_before_is_not_asked_again(folder, monkeypatch):
    known = {shape: np.full_like(table, truth.TRUE) for shape, table in truth.shipped_tables().items()}
    monkeypatch.setattr(truth, "_TABLES", known)  # nothing the engine would say
    with pytest.raises(RuleFaults) as refused:
        apart.compiled_apart(folder, ())
    assert {fault.code for fault in refused.value.faults} == {"wrong-example"}


def test_a_watching_thread_sees_a_change_by_itself(app, folder):
    in_force = app.extensions["heartlevel"]
    taken = threading.Event()
    in_force.on_reload = lambda outcome: taken.set()
    stop = in_force.watch(0.05)
    revise(folder, "2027.")
    assert taken.wait(60)
    stop.set()
    assert in_force.current.ruleset.revision.startswith("2027.")


def test_a_request_may_insist_on_a_rule_set(app, client, folder):
    tag = client.get("/ready").headers["ETag"]
    pinned = {"If-Match": tag}
    assert client.post("/v1/assessments", json=week(days=1), headers=pinned).status_code == 200
    assert client.post("/v1/assessments", json=week(days=1), headers={"If-Match": "*"}).status_code == 200
    revise(folder, "2027.")
    look(app)
    refused = client.post("/v1/assessments", json=week(days=1), headers=pinned)
    assert (refused.status_code, refused.content_type) == (412, "application/problem+json")
    assert tag.strip('"') not in refused.get_json()["detail"]
    assert refused.headers["ETag"] == client.get("/ready").headers["ETag"] != tag
    again = client.post("/v1/assessments", json=week(days=1), headers={"If-Match": refused.headers["ETag"]})
    assert again.status_code == 200


def test_one_request_is_answered_by_one_rule_set_even_if_it_lasts(app, client, folder):
    body = (json.dumps(week(days=1)) + "\n") * (TOGETHER + 1)
    pieces = client.post("/v1/assessments", data=body, content_type="application/x-ndjson").iter_encoded()
    first = next(pieces)
    revise(folder, "2027.")
    look(app)
    answered = b"".join([first, *pieces]).splitlines()
    assert len(answered) == TOGETHER + 1
    seen = {json.loads(line)["made_with"]["rules"]["fingerprint"] for line in answered}
    assert len(answered) == TOGETHER + 1
    assert len(seen) == 1
    assert fingerprint(client) not in seen


def test_a_process_that_starts_later_answers_with_what_the_others_found(app, folder, monkeypatch):
    in_force = app.extensions["heartlevel"]
    forked_at_start = copy(in_force)
    revise(folder, "2027.")
    look(app)
    good = folder / "ruleset.yaml"
    good.write_text(good.read_text() + "\nno such key: 1\n")
    look(app)
    monkeypatch.setattr(reloading, "compiled_apart", None)  # nothing is left to compile
    forked_at_start.watch(3600).set()
    assert forked_at_start.current.ruleset.revision.startswith("2027.")
    assert forked_at_start.refused == in_force.refused != ()


def test_files_found_changed_by_several_processes_are_compiled_once(app, folder, monkeypatch):
    one, other = app.extensions["heartlevel"], copy(app.extensions["heartlevel"])
    revise(folder, "2027.")
    for _ in range(2):
        one.look()
    monkeypatch.setattr(reloading, "compiled_apart", None)
    for _ in range(2):
        other.look()
    assert other.current.ruleset.fingerprint == one.current.ruleset.fingerprint
    assert other.current.ruleset.revision.startswith("2027.")


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")  # other tests' threads have nothing to do with it
def test_processes_wait_for_one_another_at_the_noticeboard():
    board = Noticeboard()
    told, tell = os.pipe()
    with board.held():
        if (child := os.fork()) == 0:
            os.write(tell, b"x")
            with board.held():
                board.write("child")
            os._exit(0)
        os.read(told, 1)
        board.write("parent")
        assert board.read() == "parent"
    os.waitpid(child, 0)
    with board.held():
        assert board.read() == "child"
