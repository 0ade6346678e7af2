"""Rules loaded and compiled in a process of their own, so that a running service never stands still or falls for it.

Run as a program with a directory and its layers as arguments ("" for the shipped rules): writes the compiled
rules, or the mistakes, to standard output.
"""

import pickle
import subprocess
import sys
from collections.abc import Sequence
from os import environ, pathsep
from pathlib import Path
from typing import cast

from heartlevel.assessment import Rules
from heartlevel.ruling.source import RuleFaults

LONGEST_SECONDS = 120


class CompilerFailed(Exception):
    """The process that compiles ended without rules and without naming a mistake."""


def compiled_apart(folder: Path | None, layers: Sequence[Path]) -> Rules:
    """Return the rules of a directory and its layers, loaded in a child process.

    Raises RuleFaults with the mistakes in the files, CompilerFailed if the child crashed or took too long.
    """
    command = [sys.executable, "-m", __name__, str(folder or ""), *map(str, layers)]
    paths = {**environ, "PYTHONPATH": pathsep.join(filter(None, sys.path))}
    try:
        ended = subprocess.run(command, env=paths, capture_output=True, timeout=LONGEST_SECONDS, check=True)
    except subprocess.CalledProcessError as error:
        raise CompilerFailed(f"it ended with status {error.returncode}") from error
    except subprocess.TimeoutExpired as error:
        raise CompilerFailed(f"it took more than {LONGEST_SECONDS} s") from error
    # Only our own child writes to this pipe.
    found = pickle.loads(ended.stdout)
    if isinstance(found, list):
        raise RuleFaults(found)
    return cast(Rules, found)


def main(folder: str, *layers: str) -> None:
    """Write the compiled rules, or the list of mistakes."""
    try:
        found: object = Rules.load(Path(folder) if folder else None, [Path(one) for one in layers])
    except RuleFaults as faults:
        found = faults.faults
    sys.stdout.buffer.write(pickle.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
