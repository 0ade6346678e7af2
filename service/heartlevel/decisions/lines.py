"""A file that lines are appended to: whole ones, by several processes, through rotation; a full disk costs no answer."""

import fcntl
import logging
import os
from collections.abc import Callable
from errno import ENOSPC
from pathlib import Path
from threading import Lock

LOG = logging.getLogger("heartlevel")
# A pipe that nobody reads is an error and no wait; who may read the file is up to its owner.
TO_THE_END, OWNER_ALONE = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NONBLOCK | os.O_CLOEXEC, 0o600
STANDARD_OUTPUT = 1


class LinesNotKept(Exception):
    """The file cannot be written; the text says why."""


class KeptLines:
    """Appends to one file, or to standard output where there is none. Of any number of threads and processes."""

    def __init__(self, path: Path | None, what: str, on_loss: Callable[[int], None]) -> None:
        """Make sure that the file can be opened; `on_loss` is told how many lines could not be kept, each time.

        `what` the lines are is told where they cannot be kept. Raises LinesNotKept.
        """
        self.path, self.on_loss, self.lost = path, on_loss, 0
        self._what = what
        self._number = None if path else STANDARD_OUTPUT  # of the open file
        self._failing, self._lock = False, Lock()
        try:
            if path is not None:
                os.close(os.open(path, TO_THE_END, OWNER_ALONE))
        except OSError as error:
            raise LinesNotKept(f"{what} cannot be kept in {path}: {error.strerror}") from error

    def write(self, lines: bytes, count: int) -> None:
        """Keep lines, all or none; what cannot be written is counted, and said once."""
        with self._lock:
            try:
                self._append(lines)
            except OSError as error:
                self._lose(count, error)
            else:
                self._failing = False

    def _append(self, lines: bytes) -> None:
        number = self._opened(self.path) if self.path else STANDARD_OUTPUT
        fcntl.flock(number, fcntl.LOCK_EX)
        try:
            end = os.fstat(number).st_size
            if os.write(number, lines) < len(lines):  # the disk is full: half a line would spoil the next one
                os.ftruncate(number, end)
                raise OSError(ENOSPC, os.strerror(ENOSPC))
        finally:
            fcntl.flock(number, fcntl.LOCK_UN)

    def _opened(self, path: Path) -> int:
        """Return the number of the file, opened anew where it was moved away or removed meanwhile."""
        if self._number is not None and not self._is_there(path, self._number):
            os.close(self._number)
            self._number = None
        if self._number is None:
            self._number = os.open(path, TO_THE_END, OWNER_ALONE)
        return self._number

    @staticmethod
    def _is_there(path: Path, number: int) -> bool:
        try:
            return os.path.samestat(path.stat(), os.fstat(number))
        except FileNotFoundError:
            return False

    def _lose(self, count: int, error: OSError) -> None:
        self.lost += count
        self.on_loss(count)
        if not self._failing:
            LOG.error("%s cannot be kept (%s); they are counted until they can", self._what, error.strerror)
        self._failing = True
