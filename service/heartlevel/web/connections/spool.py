"""Answers of a stream, kept for a client that sends on before it reads.

A client may send a whole stream and read afterwards. Answers are made by a thread of their own and kept in a file without
a name until they are read. Where more is kept than allowed, the thread waits; where the client reads nothing meanwhile,
the stream ends, and the rest of what is sent is read away, so that the client comes to read how it ended.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from tempfile import SpooledTemporaryFile
from threading import Condition, Thread

from heartlevel.web.connections.pace import PIECE
from heartlevel.web.connections.reserve import leave_room
from heartlevel.web.connections.turns import give_way

IN_MEMORY = 1024 * 1024  # bytes of a stream; what is beyond stands in a file


@dataclass(frozen=True, slots=True)
class Kept:
    """How many bytes of answers are kept of a stream, and how many seconds without reading end one that has so many.

    `to_the_end`: the first is not given before the last is made, or so many are kept. Proxies that buffer stop passing
    lines on once they see an answer.
    """

    most_bytes: int
    patience: float
    to_the_end: bool = False


def kept_until_read(answers: Iterator[bytes], unread: Callable[[], Iterator[bytes]], kept: Kept) -> Iterator[bytes]:
    """Yield answers as they are read, while more are made; those of `unread` in place of the rest if none is read."""
    spool = _Spool()

    def make() -> None:
        try:
            for answer in answers:
                spool.write(answer)
                if not spool.has_room(kept):
                    for last in unread():
                        spool.write(last)
                    break
                give_way()  # a stream would go on as long as it has lines
        except OSError as error:  # no room: the connection breaks off, so that nobody takes what was read for all
            spool.fail(error)
        finally:
            spool.end()

    Thread(target=make, name="stream", daemon=True).start()
    try:
        if kept.to_the_end:
            spool.wait_for_end(kept)
        yield from spool.pieces()
    finally:
        spool.close()


class _Spool:
    """Bytes on their way from one thread to another, in order."""

    def __init__(self) -> None:
        self._file = SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 -- closed with the stream
        self._changed = Condition()
        self._end = self._next = 0  # where bytes are written next, and read next
        self._pieces_read = 0
        self._is_complete = self._is_closed = False
        self._failure: OSError | None = None

    def close(self) -> None:
        """Forget everything: there is no reader any more."""
        with self._changed:
            self._is_closed = True
            self._changed.notify_all()
            with suppress(OSError):  # what it holds is wanted by nobody, on a disk that is full too
                self._file.close()

    def fail(self, error: OSError) -> None:
        """What was to be written could not be; who reads on is told by this exception."""
        with self._changed:
            self._failure = error

    def end(self) -> None:
        """Nothing more will be written."""
        with self._changed:
            self._is_complete = True
            self._changed.notify_all()

    def write(self, answer: bytes) -> None:
        """Keep an answer; nothing, once there is no reader."""
        with self._changed:
            if not self._is_closed:
                if self._end + len(answer) > IN_MEMORY:
                    leave_room(len(answer))
                self._file.seek(self._end)
                self._file.write(answer)
                self._end += len(answer)
                self._changed.notify_all()

    def has_room(self, kept: Kept) -> bool:
        """Wait as long as too much is kept and the reader goes on; say whether more may be written."""
        with self._changed:
            while self._end > kept.most_bytes and not self._is_closed:  # the file gets shorter when all of it was read
                before = self._pieces_read
                if not self._changed.wait_for(lambda: self._is_closed or self._pieces_read > before, kept.patience):  # noqa: B023
                    return False
            return not self._is_closed

    def wait_for_end(self, kept: Kept) -> None:
        """Wait until everything is written, or as much as is kept."""
        with self._changed:
            self._changed.wait_for(lambda: self._is_complete or self._end > kept.most_bytes)

    def pieces(self) -> Iterator[bytes]:
        """Yield what was written, as soon as it is, to the end."""
        while piece := self._piece():
            yield piece

    def _piece(self) -> bytes:
        with self._changed:
            self._changed.wait_for(lambda: self._end > self._next or self._is_complete)
            if self._end == self._next:
                if self._failure is not None:
                    raise self._failure
                return b""
            self._file.seek(self._next)
            piece = self._file.read(min(PIECE, self._end - self._next))
            self._next += len(piece)
            self._pieces_read += 1
            if self._next == self._end:  # what was read takes no room
                self._file.seek(0)
                self._file.truncate()
                self._end = self._next = 0
            self._changed.notify_all()
            return piece
