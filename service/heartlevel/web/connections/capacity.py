"""How much a worker takes on at once. What is beyond is refused at once (503) and may be sent again, instead of waiting."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Lock

MEBIBYTE = 1024 * 1024


class Busy(Exception):
    """The worker has as much to do as it takes on."""


@dataclass(frozen=True, slots=True)
class Most:
    """Limits of one worker: requests whose body is complete, their bytes together, and streams."""

    requests: int = 256
    waiting_bytes: int = 64 * MEBIBYTE
    streams: int = 8


class Capacity:
    """What a worker has to do now."""

    def __init__(self, most: Most) -> None:
        """Begin with nothing to do."""
        self._most, self._changing = most, Lock()
        self.requests = self.waiting_bytes = self.streams = 0

    @contextmanager
    def of_request(self, size: int) -> Iterator[None]:
        """Take on a request whose body of so many bytes has come; alone, of any size. Raises Busy."""
        with self._changing:
            too_large = self.requests and self.waiting_bytes + size > self._most.waiting_bytes
            if too_large or self.requests >= self._most.requests:
                raise Busy("too many requests wait to be answered")
            self.requests, self.waiting_bytes = self.requests + 1, self.waiting_bytes + size
        try:
            yield
        finally:
            with self._changing:
                self.requests, self.waiting_bytes = self.requests - 1, self.waiting_bytes - size

    def take_stream(self) -> Callable[[], None]:
        """Take on a stream; return what lets it go, which may be called again. Raises Busy."""
        with self._changing:
            if self.streams >= self._most.streams:
                raise Busy("too many streams are answered already")
            self.streams += 1
        still = [True]

        def leave() -> None:
            with self._changing:
                if still:
                    still.clear()
                    self.streams -= 1

        return leave
