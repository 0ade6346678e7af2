"""Rules loaded and compiled in a process of their own, so that a running service never stands still or falls for it.

Run as a program with a directory and its layers as arguments ("" for the shipped rules): writes the compiled
rules, or the mistakes, to standard output.
"""

import pickle
import subprocess
import sys
from collections.abc import Sequence
from os import environ, pathsep, stat_result
from pathlib import Path
from typing import cast

from heartlevel.assessment import Rules
from heartlevel.resources import shipped
from heartlevel.ruling.loading import load
from heartlevel.ruling.source import RuleFaults

LONGEST_SECONDS = 120


Stamp = tuple[tuple[str, int, int], ...]


def stamp_of(folder: Path | None, layers: Sequence[Path]) -> Stamp:
    """Return what tells whether any rule file was changed, added or removed."""
    return tuple(
        (str(path), found.st_mtime_ns, found.st_size)
        for one in (folder or shipped("rules"), *layers)
        for path in sorted(one.rglob("*.yaml"))
        if (found := _found(path)) is not None
    )


def _found(path: Path) -> stat_result | None:
    try:
        return path.stat()
    except FileNotFoundError:  # replaced or removed at this very moment: the next look sees it
        return None


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
    try:
        ended = subprocess.run(command, env=paths, capture_output=True, timeout=LONGEST_SECONDS, check=True)
    except subprocess.CalledProcessError as error:
        raise CompilerFailed(f"it ended with status {error.returncode}") from error
    except subprocess.TimeoutExpired as error:
        raise CompilerFailed(f"it took more than {LONGEST_SECONDS} s") from error
    # Only our own child writes to this pipe.
    found = pickle.loads(ended.stdout)
    if found is None:
        raise StillChanging
    if isinstance(found, list):
        raise RuleFaults(found)
    return cast(Rules, found)


def main(first: str, *others: str) -> None:
    """Write the compiled rules, the list of mistakes, or None if the files changed while they were read."""
    folder, layers = Path(first) if first else None, [Path(one) for one in others]
    stamp = stamp_of(folder, layers)
    try:
        ruleset = load(folder, layers)
        found: object = Rules.compiled(ruleset) if stamp_of(folder, layers) == stamp else None
    except RuleFaults as faults:
        found = faults.faults if stamp_of(folder, layers) == stamp else None
    sys.stdout.buffer.write(pickle.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
