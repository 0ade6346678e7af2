"""Rules compiled by one worker, for the others: forked processes share a file that has no name.

Changed rule files are so compiled once, and a worker that replaces another starts with the rules in force, not with
those the service was started with.
"""

import fcntl
import os
import pickle
import time
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import TemporaryFile
from threading import Lock
from typing import IO, Any
from weakref import finalize

SECONDS_BETWEEN_TRIES = 0.05


def _locked(file: IO[bytes]) -> bool:
    """Lock a file against other processes; say whether it is, without waiting."""
    try:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


class OneAtATime:
    """What one thread of all forked processes may do at a time. Create it before forking."""

    def __init__(self) -> None:
        """Nobody does it."""
        self._file = TemporaryFile()  # noqa: SIM115 -- closed by the next line when it is forgotten
        finalize(self, self._file.close)
        self._mine = Lock()  # a lock of the file is the process's, whatever thread takes it

    @contextmanager
    def taken(self) -> Iterator[bool]:
        """Yield whether it is the caller's turn; if so, until the end."""
        is_mine = self._mine.acquire(blocking=False)
        try:
            yield is_mine and _locked(self._file)
        finally:
            if is_mine:
                fcntl.lockf(self._file, fcntl.LOCK_UN)
                self._mine.release()


class Noticeboard:
    """Holds one object for all forked processes. Create it before forking; read and write it inside `held`."""

    def __init__(self) -> None:
        """Create an empty board."""
        self._file = TemporaryFile()  # noqa: SIM115 -- closed by the next line when the board is forgotten
        finalize(self, self._file.close)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Lock the board against other processes; the lock of a process that dies is released."""
        while not _locked(self._file):  # waiting in lockf would stop all that this process does, not one thread
            time.sleep(SECONDS_BETWEEN_TRIES)
        try:
            yield
        finally:
            fcntl.lockf(self._file, fcntl.LOCK_UN)

    def read(self) -> Any:
        """Return what was written last, or None if nothing was."""
        number = self._file.fileno()
        written = os.pread(number, os.fstat(number).st_size, 0)
        # Nobody but the service's own processes can write to it.
        return pickle.loads(written) if written else None  # noqa: S301 - of our own workers

    def write(self, notice: object) -> None:
        """Replace what is on the board."""
        self._file.seek(0)
        self._file.truncate()
        self._file.write(pickle.dumps(notice))
        self._file.flush()
