"""Bodies of answers: compressed where the caller accepts it, a stream line by line."""

import zlib
from collections.abc import Iterable, Iterator
from typing import Protocol

from backports import zstd
from flask import Flask, Response, request

SMALLEST = 1_000  # bytes; what is shorter goes into one packet as it is
IDENTITY = "identity"
OFFERED = ("zstd", "gzip", IDENTITY)  # the cheapest first, where the caller has no preference
WITHOUT_BODY = (304,)


class Coder(Protocol):
    """Compresses a body piece by piece; the receiver can read each at once."""

    def flushed(self, piece: bytes) -> bytes:
        """Return what decodes to the piece."""

    def end(self) -> bytes:
        """Return what ends the body."""


class Gzip:
    """RFC 1952."""

    def __init__(self) -> None:
        """Begin."""
        self._inner = zlib.compressobj(level=5, wbits=31)

    def flushed(self, piece: bytes) -> bytes:
        """Return what decodes to the piece."""
        return self._inner.compress(piece) + self._inner.flush(zlib.Z_SYNC_FLUSH)

    def end(self) -> bytes:
        """Return what ends the body."""
        return self._inner.flush()


class Zstandard:
    """RFC 8878."""

    def __init__(self) -> None:
        """Begin."""
        self._inner = zstd.ZstdCompressor(level=3)

    def flushed(self, piece: bytes) -> bytes:
        """Return what decodes to the piece."""
        return self._inner.compress(piece, zstd.ZstdCompressor.FLUSH_BLOCK)

    def end(self) -> bytes:
        """Return what ends the body."""
        return self._inner.flush()


CODERS: dict[str, type[Coder]] = {"gzip": Gzip, "zstd": Zstandard}


def compress_answers(app: Flask) -> None:
    """Have the application's answers compressed for callers that accept it."""
    app.after_request(compressed)


def compressed(response: Response) -> Response:
    """Return the response in the coding that the caller likes best. Its ETag names the rules, whatever the coding."""
    response.vary.add("Accept-Encoding")
    if response.status_code in WITHOUT_BODY:
        return response
    coding = request.accept_encodings.best_match(OFFERED, default=IDENTITY)
    if coding == IDENTITY or not (response.is_streamed or len(response.get_data()) >= SMALLEST):
        return response
    coder = CODERS[coding]()
    if response.is_streamed:
        response.response = _coded(response.iter_encoded(), coder)
    else:
        response.set_data(coder.flushed(response.get_data()) + coder.end())
    response.headers["Content-Encoding"] = coding
    return response


def _coded(pieces: Iterable[bytes], coder: Coder) -> Iterator[bytes]:
    for piece in pieces:
        yield coder.flushed(piece)
    yield coder.end()


def chosen_by_accept(response: Response) -> Response:
    """Say of an answer that it depends on `Accept`."""
    response.vary.add("Accept")
    return response
