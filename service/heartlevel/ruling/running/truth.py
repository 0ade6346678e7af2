"""Truth tables of conditions' shapes, filled by the rule engine in a child process when rules are loaded."""

import json
import subprocess
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

FALSE, TRUE, UNKNOWN = 0, 1, 2
ENGINE = Path(__file__).with_name("engine.py")
PATIENCE_SECONDS = 120
Table = npt.NDArray[np.int8]


class EngineFailure(Exception):
    """The rule engine ended without filling the tables."""


_TABLES: dict[str, Table] = {}


def truth_tables(shapes: Iterable[Any]) -> list[Table]:
    """Return the truth table of each shape, in order; each distinct shape is asked of the engine once.

    Raises EngineFailure. Nothing is kept from an engine that failed.
    """
    keys = [json.dumps(shape) for shape in shapes]
    missing = sorted({key for key in keys if key not in _TABLES})
    if missing:
        answers = _ask([json.loads(key) for key in missing])
        _TABLES.update(zip(missing, answers, strict=True))
    return [_TABLES[key] for key in keys]


def known_tables() -> dict[str, Table]:
    """Return the tables filled so far, by the shape as JSON text: another process need not ask for them again."""
    return dict(_TABLES)


def learn(tables: Mapping[str, Table]) -> None:
    """Take over tables that another process knows."""
    _TABLES.update(tables)


def _ask(shapes: list[Any]) -> list[Table]:
    # -I: the program's own folder is not searched for modules, so none of ours can shadow the engine's.
    command, question = [sys.executable, "-I", str(ENGINE)], json.dumps(shapes)
    try:
        done = subprocess.run(
            command, input=question, capture_output=True, text=True, timeout=PATIENCE_SECONDS, check=False
        )
    except subprocess.TimeoutExpired as late:
        raise EngineFailure(f"the rule engine gave no answer in {PATIENCE_SECONDS} s") from late
    if done.returncode:
        last = done.stderr.strip().rpartition("\n")[2]
        raise EngineFailure(f"the rule engine ended with status {done.returncode}: {last}")
    return [np.array(list(answer), dtype=np.int8) for answer in json.loads(done.stdout)]
