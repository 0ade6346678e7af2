"""Rules are compiled in another process: by the one that waits for them, or anew; what goes wrong there stays there."""

import io
import json
import pickle
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from heartlevel.assessment import Rules
from heartlevel.compiling import apart, program
from heartlevel.compiling.program import Compiled, ToCompile
from heartlevel.resources import shipped
from rules.laid import layer
from support import OWN_RULE, rules

# In a process of its own, as the one that waits is forked before there are threads: what its lines print is returned.
WAITED_FOR = """
import json, os, signal, sys, time
from pathlib import Path
from heartlevel.assessment import Rules
from heartlevel.compiling import apart, waiting
from heartlevel.ruling.language.faults import RuleFaults
layers, prepared = [Path(sys.argv[1])], Path(sys.argv[2])
def compiled(): return apart.compiled_apart(None, layers).ruleset.fingerprint
def prepare(): prepared.write_text(prepared.read_text() + "once") if prepared.exists() else prepared.write_text("once")
def killed(rules): os.kill(os.getpid(), signal.SIGKILL)
def without_end(rules):
    while True: pass
apart.have_one_wait(prepare)
(waiting_one,) = apart._WAITING
"""


def waited_for(script: str, clinic: Path, prepared: Path) -> list:
    command = [sys.executable, "-c", f"{WAITED_FOR}\n{script}", str(clinic), str(prepared)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    return layer(tmp_path, own=OWN_RULE)


def test_the_process_that_waits_compiles_what_is_compiled_here_and_prepares_once(clinic, tmp_path):
    told = waited_for("print(json.dumps([compiled(), compiled()]))\nos.kill(waiting_one.pid, 0)", clinic, tmp_path / "p")
    assert told == [[Rules.load(None, [clinic]).ruleset.fingerprint] * 2]
    assert (tmp_path / "p").read_text() == "once"


def test_it_names_mistakes_as_they_are_named_here(clinic, tmp_path):
    (clinic / "reading" / "own.yaml").write_text(OWN_RULE.replace("pulse:", "puls:", 1))
    script = """
try: compiled()
except RuleFaults as refused: print(json.dumps([[str(fault) for fault in refused.faults], str(refused)]))"""
    ((faults, text),) = waited_for(script, clinic, tmp_path / "p")
    with pytest.raises(Exception, match="puls") as refused:
        Rules.load(None, [clinic])
    assert (faults, text) == ([str(fault) for fault in refused.value.faults], str(refused.value))


def test_where_it_is_gone_another_compiles(clinic, tmp_path):
    script = """
os.kill(waiting_one.pid, signal.SIGKILL)
os.waitpid(waiting_one.pid, 0)
print(json.dumps([compiled(), len(apart._WAITING)]))"""
    assert waited_for(script, clinic, tmp_path / "p") == [[Rules.load(None, [clinic]).ruleset.fingerprint, 0]]


def test_one_that_cannot_prepare_ends_and_does_not_go_on_as_the_server_that_it_was_forked_from(clinic, tmp_path):
    (tmp_path / "p").mkdir()  # what it prepares cannot be written there
    script = """
try: compiled()
except apart.CompilerFailed: pass
print(json.dumps([os.waitpid(waiting_one.pid, 0)[1], compiled()]))"""
    assert waited_for(script, clinic, tmp_path / "p") == [[256, Rules.load(None, [clinic]).ruleset.fingerprint]]


def test_a_process_that_is_killed_meanwhile_is_a_compiler_that_failed_and_the_next_one_is_none(clinic, tmp_path):
    script = """
try: apart.made_apart(killed, None, layers, 9)
except apart.CompilerFailed as failure: print(json.dumps(str(failure)))
print(json.dumps(compiled()))"""
    assert waited_for(script, clinic, tmp_path / "p") == [
        "it ended in the middle", Rules.load(None, [clinic]).ruleset.fingerprint
    ]  # fmt: skip


def test_it_ends_with_the_last_that_could_ask(clinic, tmp_path):
    ((pid,),) = waited_for("print(json.dumps([waiting_one.pid]))", clinic, tmp_path / "p")
    for _ in range(200):
        if not Path(f"/proc/{pid}").exists():
            break
        time.sleep(0.05)
    assert not Path(f"/proc/{pid}").exists()


def test_what_takes_too_long_of_a_processor_is_ended(clinic, tmp_path):
    script = """
try: apart.made_apart(without_end, None, layers, 0.5)
except apart.TakesTooLong as late: print(json.dumps(str(late)))"""
    assert waited_for(script, clinic, tmp_path / "p") == ["more than 0.5 s of a processor"]
    with pytest.raises(apart.TakesTooLong, match=r"more than 0\.02 s of a processor"):
        apart.made_apart(apart._as_they_are, None, [clinic], 0.02)


def test_files_that_change_while_they_are_read_are_told_to_be_changing(tmp_path, monkeypatch):
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))

    compiled = rules()

    def changed_meanwhile(*_: object) -> Rules:
        (folder / "ruleset.yaml").write_text("name: Another\n")
        return compiled

    monkeypatch.setattr(program.Rules, "load", changed_meanwhile)
    monkeypatch.setattr(program.gc, "disable", lambda: None)  # this process goes on
    told = io.BytesIO()
    program.answer(io.BytesIO(pickle.dumps(ToCompile(folder, (), apart._as_they_are, {}, 100))), told)
    assert pickle.loads(told.getvalue()) == Compiled(was_changing=True)
