"""The body of a stream as it comes: whole lines, as many as one stream may have, and why there are no more."""

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

from gunicorn.http.errors import NoMoreData, ParseException
from werkzeug.exceptions import ClientDisconnected

from heartlevel.intake.ndjson import LONGEST_LINE, PIECE, BrokenBody, Readable
from heartlevel.web.connections.pace import TooSlow
from heartlevel.web.connections.turns import give_way

BROKEN_OFF = (TooSlow, ParseException, ClientDisconnected, NoMoreData, ConnectionError)
STOPPING = "stopping"


@dataclass(frozen=True, slots=True)
class MostOfStream:
    """How long one stream may be: lines, empty ones too, their bytes once decoded, seconds from the first to the last."""

    lines: int
    bytes: int
    seconds: int


class Arriving:
    """The whole lines of a stream's body as far as they come: what breaks it off ends it, and is told at the end."""

    def __init__(
        self, body: Readable, is_stopping: Callable[[], bool], most: MostOfStream, now: Callable[[], float] = monotonic
    ) -> None:
        """Begin to read a body, until the service is stopping or there is more of it than there may be."""
        self._body, self._is_stopping, self.most, self._now = body, is_stopping, most, now
        self._received = self._lines = 0
        self._last_moment = now() + most.seconds
        self._begun = bytearray()  # a line that has begun
        self.broken_off = ""

    def read(self, size: int, /) -> bytes:
        """Return some whole lines, about `size` bytes, or a part of one that is longer; none at the end."""
        while piece := self._piece(size):
            end = piece.rfind(b"\n") + 1
            if end or len(self._begun) > LONGEST_LINE:
                end = end or len(piece)
                lines, self._begun = bytes(self._begun + piece[:end]), bytearray(piece[end:])
                return lines
            self._begun += piece
        last, self._begun = bytes(self._begun), bytearray()
        return b"" if self.broken_off else last

    def _piece(self, size: int) -> bytes:
        give_way()  # lines without anything in them have no answer, after which others would have their turn
        self.broken_off = self.broken_off or self._why_no_more()
        if self.broken_off:
            return b""
        try:
            piece = self._body.read(size)
        except BrokenBody as error:
            error.text = bytes(self._begun)
            raise
        except BROKEN_OFF as error:
            self.broken_off = STOPPING if self._is_stopping() else _reason(error)  # which ends what clients send
            piece = self._left()
        self._received += len(piece)
        if self._received > self.most.bytes:
            self.broken_off = "too-many-bytes"
            return b""
        return self._within_lines(piece)

    def _within_lines(self, piece: bytes) -> bytes:
        """Return as much of a piece as belongs to lines that there may be."""
        left = self.most.lines - self._lines
        self._lines += piece.count(b"\n")
        if self._lines < self.most.lines:
            return piece
        end = -1
        for _ in range(left):
            end = piece.find(b"\n", end + 1)
        self._lines = self.most.lines
        if piece[end + 1 :]:
            self.broken_off = "too-many-lines"
        return piece[: end + 1]

    def _left(self) -> bytes:
        """Return what had come before the body broke off."""
        try:
            return self._body.read(PIECE)
        except BROKEN_OFF:
            return b""

    def _why_no_more(self) -> str:
        if self._is_stopping():
            return STOPPING
        return "too-long" if self._now() > self._last_moment else ""


def _reason(error: Exception) -> str:
    if isinstance(error, TooSlow):
        return "too-slow"
    return "broken-body" if isinstance(error, ParseException) else "client-left"
