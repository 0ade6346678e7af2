"""The file that decisions are kept in: whole lines, by several processes, through rotation; a full disk costs no answer."""

import fcntl
import logging
import os
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from errno import ENOSPC
from pathlib import Path
from threading import Lock

import orjson

from heartlevel.decisions.decided import Decision

LOG = logging.getLogger("heartlevel")
SETTING = "HEARTLEVEL_DECISIONS"
# A pipe that nobody reads is an error and no wait; who may read the file is up to its owner.
TO_THE_END, OWNER_ALONE = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NONBLOCK | os.O_CLOEXEC, 0o600


class DecisionsNotKept(Exception):
    """The file of decisions cannot be written; the text says why."""


class DecisionLog:
    """Appends to one file, or keeps nothing where there is none. Of any number of threads and processes."""

    def __init__(self, path: Path | None, on_loss: Callable[[int], None] = lambda decisions: None) -> None:
        """Make sure that the file can be opened; `on_loss` is told how many decisions could not be kept, each time.

        Raises DecisionsNotKept.
        """
        self.path, self.on_loss, self.lost = path, on_loss, 0
        self._number: int | None = None  # of the open file
        self._failing, self._lock = False, Lock()
        try:
            if path is not None:
                os.close(os.open(path, TO_THE_END, OWNER_ALONE))
        except OSError as error:
            raise DecisionsNotKept(f"decisions cannot be kept in {path}: {error.strerror}") from error

    def write(self, request: str, decisions: Sequence[Decision]) -> None:
        """Keep decisions on a request, a line each, all or none; what cannot be written is counted, and said once."""
        if self.path is None or not decisions:
            return
        head = {"time": datetime.now(UTC).isoformat(timespec="milliseconds"), "request": request}
        lines = b"".join(orjson.dumps({**head, **decision}) + b"\n" for decision in decisions)
        with self._lock:
            try:
                self._append(self.path, lines)
            except OSError as error:
                self._lose(len(decisions), error)
            else:
                self._failing = False

    def _append(self, path: Path, lines: bytes) -> None:
        number = self._opened(path)
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

    def _lose(self, decisions: int, error: OSError) -> None:
        self.lost += decisions
        self.on_loss(decisions)
        if not self._failing:
            LOG.error("decisions cannot be kept (%s); they are counted until they can", error.strerror)
        self._failing = True
