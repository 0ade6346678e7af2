"""Chunked bodies: each chunk costs time however little is in it, so there may only be so much around what is sent."""

from collections.abc import Iterator

from gunicorn.http.body import ChunkedReader
from gunicorn.http.errors import ParseException

from heartlevel.web.connections.capacity import MEBIBYTE
from heartlevel.web.connections.pace import PacedSocket

FRAMING, SHARE = MEBIBYTE, 8  # bytes that are no content: so many, and one more for each eight that are


class ChunksTooSmall(ParseException):  # type: ignore[misc]
    """A body is cut into chunks of next to nothing, or its chunks come with long extensions."""


def watch_chunks(reader: object, connection: PacedSocket) -> None:
    """Have a body end with ChunksTooSmall once there is too much around its content; one that is not chunked is let be."""
    if isinstance(reader, ChunkedReader):
        reader.parser = _watched(reader.parser, connection)


def _watched(pieces: Iterator[bytes], connection: PacedSocket) -> Iterator[bytes]:
    content = 0
    for piece in pieces:
        content += len(piece)
        if connection.received - content > FRAMING + content // SHARE:
            raise ChunksTooSmall
        yield piece
