"""A connection with deadlines: a request has to come, and its answer to be read, at a least rate."""

import logging
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from errno import EPIPE
from time import monotonic
from typing import Any

from gunicorn.http.errors import LimitRequestHeaders
from gunicorn.util import close_graceful

from heartlevel.web.connections.turns import give_way

LOG = logging.getLogger("heartlevel")
PIECE = 64 * 1024
TURN = 32 * 1024  # bytes, after which other connections have their turn: what has come already is read without waiting
LAST_WORDS = 2  # seconds


class TooSlow(Exception):
    """A client did not send in time what it had begun to send."""


class Awaited(Enum):
    """What the client is to send next."""

    REQUEST, HEAD, BODY = "request", "head", "body"


@dataclass(frozen=True, slots=True)
class Pace:
    """How slow a client may be: seconds, and bytes a second."""

    first_request: float = 20  # after it has connected
    next_request: float = 65  # longer than load balancers usually keep an idle connection
    head: float = 10  # from the first byte of a request to the end of its headers
    body: float = 20  # beyond what its bytes take at the least rate
    least_rate: float = 1000
    whole_body: float = 120  # of a body that is answered as a whole, however fast: its room is wanted by others
    longest_head: int = 32 * 1024  # bytes
    longest_silence: float = 65  # within a body, however much of it came before
    piece_of_answer: float = 20  # for each PIECE of bytes: 3 kB a second


class PacedSocket:
    """A client's socket that waits no longer than the pace allows; all else is the socket's own."""

    def __init__(self, own: socket.socket, pace: Pace, now: Callable[[], float] = monotonic) -> None:
        """Wait for the first request."""
        self._own, self._pace, self._now = own, pace, now
        self._begin(Awaited.REQUEST, pace.first_request)
        self.given_up = False
        self.ends_early = False  # of a request that may be long: it is not waited for when the worker ends

    def __getattr__(self, name: str) -> Any:
        """All but receiving and sending is the socket's own."""
        return getattr(self._own, name)

    @property
    def received(self) -> int:
        """Bytes of what is awaited that have come so far."""
        return self._received

    @property
    def is_idle(self) -> bool:
        """Nothing of a request has come since the last answer."""
        return self._awaited is Awaited.REQUEST

    def await_body(self) -> None:
        """The head of a request is complete."""
        self._begin(Awaited.BODY, self._pace.body)

    def await_request(self) -> None:
        """An answer is complete; the client may send another request."""
        self._begin(Awaited.REQUEST, self._pace.next_request)

    def _begin(self, awaited: Awaited, patience: float) -> None:
        self._awaited, self._patience, self._received, self._waited = awaited, patience, 0, 0.0
        self._since_turn = 0
        self.ends_early = False

    def recv(self, size: int) -> bytes:
        """Receive at most `size` bytes, none at the end. Raises TooSlow once; after that there is nothing more."""
        if self.given_up:
            return b""
        left = self._patience + self._received / self._pace.least_rate - self._waited
        if self._awaited is Awaited.BODY and not self.ends_early:
            left = min(left, self._pace.whole_body - self._waited)
        since = self._now()
        try:
            self._own.settimeout(max(min(left, self._pace.longest_silence), 0.001))
            data = self._own.recv(size)
        except TimeoutError:
            self.given_up = True
            if self.is_idle:
                return b""
            raise TooSlow(f"the {self._awaited.value} of a request did not come in time") from None
        self._waited += self._now() - since  # what the service itself takes is not the client's
        self._received += len(data)
        if self._received - self._since_turn > TURN:
            self._since_turn = self._received
            give_way()
        if data and self.is_idle:
            self._begin(Awaited.HEAD, self._pace.head)
        elif self._awaited is Awaited.HEAD and self._received > self._pace.longest_head:
            raise LimitRequestHeaders("the head is too long")
        return data

    def sendall(self, data: bytes) -> None:
        """Send, a piece at a time; a client that reads too slowly is gone, as is one that has closed its connection."""
        view = memoryview(data)
        for first in range(0, len(data), PIECE):
            try:
                self._own.settimeout(self._pace.piece_of_answer)
                self._own.sendall(view[first : first + PIECE])
            except TimeoutError:
                LOG.info("a client did not read its answer and was left")
                raise BrokenPipeError(EPIPE, "not read") from None
            except ConnectionError:
                if not self.ends_early:  # what comes of a stream is logged when it is over
                    LOG.info("a client left before its answer was sent")
                raise

    def close(self) -> None:
        """Close; a client that is still sending gets to read what was answered."""
        close_graceful(self._own, LAST_WORDS)

    def stop_waiting(self) -> None:
        """Wait no longer for what the client might send."""
        with suppress(OSError):  # gone already
            self._own.shutdown(socket.SHUT_RD)
