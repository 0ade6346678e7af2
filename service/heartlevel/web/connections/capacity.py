"""How much a worker takes on at once. What is beyond is refused at once (503) and may be sent again, instead of waiting."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Lock

from heartlevel.web.connections.turns import give_way

MEBIBYTE = 1024 * 1024
SMALL = 64 * 1024  # bytes: as much of a body, and of an answer, is held for every connection
LARGE = 128 * 1024  # bytes: what such a body holds takes a tenth of a second and more
TURNS = 10  # given between two large requests: a small one that has come by then is read, assessed and answered in as many


class Busy(Exception):
    """The worker has as much to do as it takes on."""


@dataclass(frozen=True, slots=True)
class Most:
    """Limits of one worker: requests whose body is complete, bytes of bodies and of answers that are read, streams."""

    requests: int = 256
    body_bytes: int = 64 * MEBIBYTE  # of bodies that come or wait to be answered, without the first SMALL of each
    unread_bytes: int = 256 * MEBIBYTE  # of answers in temporary files
    streams: int = 8


class HeldBytes:
    """Bytes that are held for one request, out of as many as all may have."""

    def __init__(self, capacity: "Capacity") -> None:
        """Hold nothing yet."""
        self._capacity, self.size = capacity, 0

    def grow(self, size: int) -> None:
        """Hold so many bytes more. Raises Busy where there is no room for them."""
        self._capacity.take_bytes(max(self.size + size - SMALL, 0) - max(self.size - SMALL, 0))
        self.size += size

    def release(self) -> None:
        """Hold nothing any more; may be called again."""
        self._capacity.take_bytes(-max(self.size - SMALL, 0))
        self.size = 0


class Capacity:
    """What a worker has to do now."""

    def __init__(self, most: Most) -> None:
        """Begin with nothing to do."""
        self._most, self._changing = most, Lock()
        self.requests = self.body_bytes = self.unread_bytes = self.streams = 0
        # Waited for, unlike the other: it has to be the one that gives way to other greenlets, if that is what runs here.
        self._answering_large = threading.Lock()

    def take_bytes(self, size: int) -> None:
        """Count so many bytes of bodies more, or fewer. Raises Busy; what was counted before stays counted."""
        with self._changing:
            if size > 0 and self.body_bytes + size > self._most.body_bytes:
                raise Busy("too many large requests are sent at once")
            self.body_bytes += size

    @contextmanager
    def of_request(self) -> Iterator[None]:
        """Take on a request whose body has come. Raises Busy."""
        with self._changing:
            if self.requests >= self._most.requests:
                raise Busy("too many requests wait to be answered")
            self.requests += 1
        try:
            yield
        finally:
            with self._changing:
                self.requests -= 1

    @contextmanager
    def turn_of(self, size: int) -> Iterator[None]:
        """Have large requests answered one after the other, so that a small one waits for few of them."""
        if size < LARGE:
            yield
            return
        with self._answering_large:
            for _ in range(TURNS):
                give_way()
            yield

    def take_answer(self, size: int) -> Callable[[], None]:
        """Keep an answer of so many bytes until it is read; return what lets it go. Raises Busy."""
        with self._changing:
            if self.unread_bytes + size > self._most.unread_bytes:
                raise Busy("too many large answers wait to be read")
            self.unread_bytes += size
        return self._once("unread_bytes", size)

    def take_stream(self) -> Callable[[], None]:
        """Take on a stream; return what lets it go, which may be called again. Raises Busy."""
        with self._changing:
            if self.streams >= self._most.streams:
                raise Busy("too many streams are answered already")
            self.streams += 1
        return self._once("streams", 1)

    def _once(self, count: str, size: int) -> Callable[[], None]:
        still = [True]

        def leave() -> None:
            with self._changing:
                if still:
                    still.clear()
                    setattr(self, count, getattr(self, count) - size)

        return leave
