"""Bodies of requests: decoded as they are read, within the limit that holds for those that come plain."""

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import IO, Any, cast

from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge, UnsupportedMediaType
from werkzeug.utils import cached_property
from werkzeug.wsgi import get_input_stream

from heartlevel.intake.ndjson import PIECE, BrokenBody, Readable
from heartlevel.web.bodies.decoded import CODINGS, DecodedBody

PLAIN = ("", "identity")
ALSO_GZIP = "x-gzip"  # the same by RFC 9110, 8.4.1.3


class UnknownCoding(UnsupportedMediaType):
    """The body is compressed in a way that is not understood."""

    kind = "other-coding"

    headers = {"Accept-Encoding": ", ".join(CODINGS)}  # noqa: RUF012 -- RFC 9110, 12.5.3

    def __init__(self) -> None:
        """Name what is understood."""
        super().__init__(f"send the body plain, or with Content-Encoding {' or '.join(CODINGS)}, and with one alone")


class OtherMediaType(UnsupportedMediaType):
    """The body is of a kind that is not read here."""

    def __init__(self, kinds: Sequence[str]) -> None:
        """Name the kinds that are."""
        super().__init__(f"send {' or '.join(kinds)}")
        self.headers = {"Accept": ", ".join(kinds)}  # RFC 9110, 15.5.16


class BodyTooLong(RequestEntityTooLarge):
    """The body is longer than allowed."""

    def __init__(self, most: int) -> None:
        """Say how long it may be."""
        super().__init__(f"more than {most} bytes, counted as they are once decoded")


class SentRequest(Request):
    """A request whose body is read as it was before it was compressed."""

    on_piece: Callable[[int], None] | None = None  # told how many bytes of the whole body are held, before they are

    @cached_property
    def stream(self) -> IO[bytes]:
        """The body, decoded while it is read. Raises UnknownCoding."""
        coding = self.headers.get("Content-Encoding", "").strip().lower()
        coding = "gzip" if coding == ALSO_GZIP else coding
        if coding not in (*PLAIN, *CODINGS):
            raise UnknownCoding
        try:
            # A chunked body that is as long as allowed is read to its end only where one byte more may be read.
            sent = get_input_stream(self.environ, max_content_length=self._most() + 1)
        except RequestEntityTooLarge:
            raise BodyTooLong(self._most()) from None
        return sent if coding in PLAIN else cast(IO[bytes], DecodedBody(sent, coding))

    def whole_body(self) -> bytes:
        """Return all of the body, which is read once. Raises BodyTooLong, BrokenBody with what was read so far."""
        whole = self._whole
        if isinstance(whole, BrokenBody):
            raise whole
        return whole

    def get_data(self, *_: Any, **__: Any) -> bytes:  # type: ignore[override]
        """Return all of the body, or of one that is damaged what can be read."""
        return self._whole.text if isinstance(self._whole, BrokenBody) else self._whole

    @cached_property
    def _whole(self) -> bytes | BrokenBody:
        pieces, most = BytesIO(), self._most()
        stream: Readable = self.stream
        try:
            while piece := stream.read(PIECE):
                if pieces.tell() + len(piece) > most:
                    raise BodyTooLong(most)
                if self.on_piece is not None:
                    self.on_piece(len(piece))
                pieces.write(piece)
        except BrokenBody as error:
            error.text = pieces.getvalue()
            return error
        return pieces.getvalue()

    def _most(self) -> int:
        return cast(int, self.max_content_length)


def sent(request: Any) -> SentRequest:
    """Return the request that is being answered, by its kind."""
    return cast(SentRequest, request)
