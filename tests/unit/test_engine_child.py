"""The engine's child process: the same tables from memory that is filled with rubbish, and never a silent failure."""

from pathlib import Path

import numpy as np
import pytest

from heartlevel import Rules
from heartlevel.ruling.running import truth
from heartlevel.ruling.running.truth import EngineFailure, truth_tables

SHAPES = [0, ["all", 0, 1], ["any", 0, ["none", 1, 2]], ["none", 0], ["all", ["any", 0, 1], ["none", 2, ["all", 3, 0]]]]


def forget_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that were asked for, and those that came with the package."""
    monkeypatch.setattr(truth, "_TABLES", {})
    monkeypatch.setattr(truth, "shipped_tables", dict)


def fresh_tables(monkeypatch: pytest.MonkeyPatch) -> list[np.ndarray]:
    """Ask the engine, whatever was asked before."""
    forget_tables(monkeypatch)
    return truth_tables(SHAPES)


def program(tmp_path: Path, source: str) -> Path:
    path = tmp_path / "child.py"
    path.write_text(source)
    return path


# glibc fills memory with this value's complement when it is allocated and with the value when it is freed (its manual
# page mallopt(3), M_PERTURB), so whatever reads memory before writing it, or after giving it back, reads rubbish.
def test_tables_do_not_depend_on_what_was_in_memory(monkeypatch):
    monkeypatch.delenv("MALLOC_PERTURB_", raising=False)
    expected = fresh_tables(monkeypatch)
    monkeypatch.setenv("MALLOC_PERTURB_", "165")
    found = fresh_tables(monkeypatch)
    assert [one.tolist() for one in found] == [one.tolist() for one in expected]
    assert expected[1].tolist() == [0, 0, 0, 0, 1, 2, 0, 2, 2]  # all of two: false wins over unknown


def test_the_child_process_has_the_environment_it_was_started_in(monkeypatch, tmp_path):
    source = "import json, os\nprint(json.dumps([os.environ['MALLOC_PERTURB_']]))"
    monkeypatch.setattr(truth, "ENGINE", program(tmp_path, source))
    forget_tables(monkeypatch)
    monkeypatch.setenv("MALLOC_PERTURB_", "165")
    assert [one.tolist() for one in truth_tables([0])] == [[1, 6, 5]]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)", "status -11"),
        ("raise SystemExit(3)", "status 3"),
        ("import time\ntime.sleep(60)", "no answer in 0.5 s"),
    ],
)
def test_a_child_process_that_ends_badly_is_a_failure_and_leaves_no_table(monkeypatch, tmp_path, source, words):
    monkeypatch.setattr(truth, "ENGINE", program(tmp_path, source))
    monkeypatch.setattr(truth, "PATIENCE_SECONDS", 0.5 if "sleep" in source else 60)
    forget_tables(monkeypatch)
    with pytest.raises(EngineFailure, match=words):
        truth_tables([0])
    assert truth._TABLES == {}


def test_the_engine_is_not_asked_for_the_shipped_rules(monkeypatch, tmp_path):
    monkeypatch.setattr(truth, "ENGINE", program(tmp_path, "raise SystemExit(3)"))
    monkeypatch.setattr(truth, "_TABLES", {})
    assert {rule.id for rule in Rules.load().ruleset.every_rule()}
    with pytest.raises(EngineFailure):
        truth_tables([["all", ["all", ["all", 0]]]])
