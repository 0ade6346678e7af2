"""Rules loaded and compiled in a process of their own, so that a running service never stands still or falls for it.

Run as a program with a directory and its layers as arguments ("" for the shipped rules): takes the truth tables known
already from standard input, and writes the compiled rules, or the mistakes, to standard output.
"""

import pickle
import subprocess
import sys
from collections.abc import Sequence
from os import environ, pathsep
from pathlib import Path
from signal import Signals
from typing import cast

from heartlevel.assessment import Rules
from heartlevel.ruling.files.directories.stamps import stamp_of
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.running.truth import known_tables, learn

LONGEST_SECONDS = 120


class CompilerFailed(Exception):
    """The process that compiles ended without rules and without naming a mistake."""


class StillChanging(Exception):
    """Files changed while they were read: what was read may be half of each."""


def compiled_apart(folder: Path | None, layers: Sequence[Path]) -> Rules:
    """Return the rules of a directory and its layers, loaded in a child process.

    Raises RuleFaults with the mistakes in the files, StillChanging if they changed while they were read,
    CompilerFailed if the child crashed or took too long.
    """
    command = [sys.executable, "-m", __name__, str(folder or ""), *map(str, layers)]
    paths = {**environ, "PYTHONPATH": pathsep.join(filter(None, sys.path))}
    known = pickle.dumps(known_tables())  # most conditions are of a shape that was there before
    try:
        ended = subprocess.run(command, input=known, env=paths, capture_output=True, timeout=LONGEST_SECONDS, check=True)  # noqa: S603 - our own
    except subprocess.CalledProcessError as error:
        raise CompilerFailed(_ending(error.returncode)) from error
    except subprocess.TimeoutExpired as error:
        raise CompilerFailed(f"it took more than {LONGEST_SECONDS} s") from error
    # Only our own child writes to this pipe.
    result = pickle.loads(ended.stdout)  # noqa: S301 - of our own child
    if result is None:
        raise StillChanging
    if isinstance(result, list):
        raise RuleFaults(result)
    return cast(Rules, result)


def _ending(status: int) -> str:
    return f"it was killed ({Signals(-status).name})" if status < 0 else f"it ended with status {status}"


def write_compiled(first: str, *others: str) -> None:
    """Write the compiled rules, the list of mistakes, or None if the files changed while they were read."""
    folder, layers = Path(first) if first else None, list(map(Path, others))
    stamp = stamp_of(folder, layers)
    try:
        rules = Rules.load(folder, layers)
        result: object = rules if stamp_of(folder, layers) == stamp else None
    except RuleFaults as faults:
        result = faults.faults if stamp_of(folder, layers) == stamp else None
    sys.stdout.buffer.write(pickle.dumps(result))


if __name__ == "__main__":
    learn(pickle.load(sys.stdin.buffer))  # noqa: S301 - of our own parent
    write_compiled(*sys.argv[1:])
