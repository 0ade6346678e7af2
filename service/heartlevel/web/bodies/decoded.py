"""Compressed bodies decoded as they are read: what is held, and what decoding costs, goes by the bytes it comes to."""

import zlib
from collections.abc import Callable, Mapping
from typing import Protocol

from backports import zstd

from heartlevel.intake.ndjson import PIECE, BrokenBody, Readable

WINDOW = {int(zstd.DecompressionParameter.window_log_max): 23}  # 8 MiB, the most that RFC 9659 has readers support
# A body may have several members (gzip) or frames (zstd). Each costs as much as a thousand bytes, even if it holds none.
MOST_MEMBERS, LEAST_MEMBER = 1_000, 1_000
MOST_WITHOUT_CONTENT = 1024 * 1024  # bytes sent in a row of which nothing comes: a header, say, that has no end


class Decoder(Protocol):
    """Decodes one member or frame."""

    @property
    def eof(self) -> bool:
        """Whether it has ended."""

    @property
    def needs_input(self) -> bool:
        """Whether more has to be sent before more can be decoded."""

    @property
    def unused_data(self) -> bytes:
        """What was sent after its end."""

    def decompress(self, data: bytes, max_length: int) -> bytes:
        """Return at most so many bytes of what was sent."""


class GzipMember:
    """One member (RFC 1952), as zlib decodes it."""

    def __init__(self) -> None:
        """Begin."""
        self._inner = zlib.decompressobj(wbits=31)

    @property
    def eof(self) -> bool:
        """Whether it has ended."""
        return self._inner.eof

    @property
    def needs_input(self) -> bool:
        """Whether all that was sent is decoded."""
        return not self._inner.unconsumed_tail

    @property
    def unused_data(self) -> bytes:
        """What was sent after its end."""
        return self._inner.unused_data

    def decompress(self, data: bytes, max_length: int) -> bytes:
        """Return at most so many bytes of what was sent."""
        return self._inner.decompress(self._inner.unconsumed_tail + data, max_length)


CODINGS: Mapping[str, Callable[[], Decoder]] = {
    "gzip": GzipMember,
    "zstd": lambda: zstd.ZstdDecompressor(options=WINDOW),
}


class DecodedBody:
    """A body as it was before it was compressed. No more of it is held than is asked for."""

    def __init__(self, sent: Readable, coding: str) -> None:
        """Decode what is read of a stream."""
        self._sent, self._coding = sent, coding
        self._decoder = CODINGS[coding]()
        self._members, self._content, self._without_content = 1, 0, 0

    def read(self, size: int = PIECE, /) -> bytes:
        """Return at most `size` bytes, none at the end. Raises BrokenBody where what was sent is damaged or cut off."""
        try:
            return self._decoded(size)
        except (EOFError, zlib.error, zstd.ZstdError):
            raise BrokenBody(f"the body is damaged or cut off: it cannot be decoded as {self._coding}") from None

    def _decoded(self, size: int) -> bytes:
        while self._without_content <= MOST_WITHOUT_CONTENT:
            data = self._input()
            if self._decoder.eof:
                return b""
            if content := self._decoder.decompress(data, size):
                self._content += len(content)
                self._without_content = 0
                return content
        raise BrokenBody(f"the body has {MOST_WITHOUT_CONTENT} bytes of {self._coding} in a row of which nothing comes")

    def _input(self) -> bytes:
        """Return what is decoded next, if anything is needed; begin another member where one has ended. Raises EOFError."""
        if self._decoder.eof:
            data = self._decoder.unused_data or self._more()
            if data:
                self._begin_member()
            return data
        data = self._more() if self._decoder.needs_input else b""
        if self._decoder.needs_input and not data:
            raise EOFError
        return data

    def _more(self) -> bytes:
        data = self._sent.read(PIECE)
        self._without_content += len(data)
        return data

    def _begin_member(self) -> None:
        self._decoder = CODINGS[self._coding]()
        self._members += 1
        if self._members > MOST_MEMBERS + self._content // LEAST_MEMBER:
            raise BrokenBody(
                f"the body has more than {MOST_MEMBERS} members or frames of {self._coding} with next to nothing in them"
            )
