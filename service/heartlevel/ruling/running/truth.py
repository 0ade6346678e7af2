"""Truth tables of conditions' shapes, filled by the rule engine in a child process when rules are loaded.

Those of the shipped rules' shapes were filled when the rules were written (`openapi/generate.py`), and stand in a file
beside this module: the engine is asked for what a layer adds. The tests ask it for all of them again.
"""

import json
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

FALSE, TRUE, UNKNOWN = 0, 1, 2
ENGINE = Path(__file__).with_name("engine.py")
SHIPPED = Path(__file__).with_name("truth_tables.json")
PATIENCE_SECONDS = 120
Table = npt.NDArray[np.int8]


class EngineFailure(Exception):
    """The rule engine ended without filling the tables."""


_TABLES: dict[str, Table] = {}


def truth_tables(shapes: Iterable[Any]) -> list[Table]:
    """Return the truth table of each shape, in order; each distinct shape is asked of the engine at most once.

    Raises EngineFailure. Nothing is kept from an engine that failed.
    """
    keys = [json.dumps(shape) for shape in shapes]
    _TABLES.update((key, table) for key, table in shipped_tables().items() if key not in _TABLES)
    missing = sorted({key for key in keys if key not in _TABLES})
    if missing:
        _TABLES.update((key, _table(outcomes)) for key, outcomes in asked_of_engine(missing).items())
    return [_TABLES[key] for key in keys]


@cache
def shipped_tables() -> Mapping[str, Table]:
    """Return the tables of the shipped rules' shapes, by the shape as JSON text."""
    return {key: _table(outcomes) for key, outcomes in json.loads(SHIPPED.read_bytes()).items()}


def _table(outcomes: str) -> Table:
    return np.frombuffer(outcomes.encode(), dtype=np.int8) - ord("0")


def known_tables() -> dict[str, Table]:
    """Return the tables filled so far, by the shape as JSON text: another process need not ask for them again."""
    return dict(_TABLES)


def learn(tables: Mapping[str, Table]) -> None:
    """Take over tables that another process knows."""
    _TABLES.update(tables)


def asked_of_engine(shapes: Sequence[str]) -> dict[str, str]:
    """Return what the engine says of each shape (JSON text): its table's outcomes as digits. Raises EngineFailure."""
    return dict(zip(shapes, ask_engine({"shapes": [json.loads(shape) for shape in shapes]}), strict=True))


def ask_engine(question: Mapping[str, Any]) -> list[Any]:
    """Return what the engine answers to a question, in a child process. Raises EngineFailure."""
    # -I: the program's own folder is not searched for modules, so none of ours can shadow the engine's.
    command, asked = [sys.executable, "-I", str(ENGINE)], json.dumps(question)
    try:
        done = subprocess.run(command, input=asked, capture_output=True, text=True, timeout=PATIENCE_SECONDS, check=False)  # noqa: S603
    except subprocess.TimeoutExpired as late:
        raise EngineFailure(f"the rule engine gave no answer in {PATIENCE_SECONDS} s") from late
    if done.returncode:
        last = done.stderr.strip().rpartition("\n")[2]
        raise EngineFailure(f"the rule engine ended with status {done.returncode}: {last}")
    answer: list[Any] = json.loads(done.stdout)
    return answer
