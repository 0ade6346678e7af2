"""Streams over HTTP: a line answered as it comes, ended with a line that says why if not by the client."""

import logging
from collections.abc import Callable, Iterator
from functools import partial

from flask import Response, current_app, request
from gunicorn.http.errors import NoMoreData, ParseException
from werkzeug.exceptions import ClientDisconnected

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.intake.ndjson import LONGEST_LINE, PIECE, BrokenBody, Readable, requests_in_stream
from heartlevel.one_call import Outcome, answer_decoded
from heartlevel.web.connections.capacity import Capacity
from heartlevel.web.connections.pace import PacedSocket, TooSlow
from heartlevel.web.connections.spool import Kept, kept_until_read
from heartlevel.web.observing.each_request import StreamInHand
from heartlevel.web.observing.logs import raised_at

LOG = logging.getLogger("heartlevel")
NDJSON = "application/x-ndjson"
PATIENCE = 15  # seconds without reading, once as much is kept as may be
SEND_AGAIN = "send the lines after those again"
WHY_ENDED = {
    "not-read": "the answers were not read while lines were sent: read them at the same time, or send fewer lines",
    "too-slow": f"the lines came too slowly; {SEND_AGAIN}",
    "stopping": f"the service is being stopped; {SEND_AGAIN}",
    "client-left": f"the body broke off; {SEND_AGAIN}",
    "broken-body": f"what was sent is not chunked as HTTP asks; {SEND_AGAIN}",
    "failed": f"the service failed; quote the request id when reporting it, and {SEND_AGAIN}",
}

BROKEN_OFF = (TooSlow, ParseException, ClientDisconnected, NoMoreData, ConnectionError)


class Arriving:
    """The whole lines of a stream's body as far as they come: what breaks it off ends it, and is told at the end."""

    def __init__(self, body: Readable, is_stopping: Callable[[], bool]) -> None:
        """Begin to read a body, until the service is stopping."""
        self._body, self._is_stopping = body, is_stopping
        self._begun = b""  # a line that has begun
        self.broken_off = ""

    def read(self, size: int, /) -> bytes:
        """Return some whole lines, about `size` bytes, or a part of one that is longer; none at the end."""
        while piece := self._piece(size):
            end = piece.rfind(b"\n") + 1
            if end or len(self._begun) > LONGEST_LINE:
                end = end or len(piece)
                lines, self._begun = self._begun + piece[:end], piece[end:]
                return lines
            self._begun += piece
        last, self._begun = self._begun, b""
        return b"" if self.broken_off else last

    def _piece(self, size: int) -> bytes:
        if self._is_stopping():
            self.broken_off = "stopping"
            return b""
        try:
            return self._body.read(size)
        except BrokenBody as error:
            error.text = self._begun
            raise
        except BROKEN_OFF as error:
            self.broken_off = self.broken_off or _reason(error)
        try:
            return self._body.read(size)  # what had come before
        except BROKEN_OFF:
            return b""


def _reason(error: Exception) -> str:
    if isinstance(error, TooSlow):
        return "too-slow"
    return "broken-body" if isinstance(error, ParseException) else "client-left"


class StreamOfAnswers:
    """Answers to the lines of one request, with how many there were."""

    def __init__(self, body: Arriving, rules: Rules, most_readings: int, in_hand: StreamInHand) -> None:
        """Take the body, the rules it is answered with, how many readings a line may hold, and who counts lines."""
        self._body, self._rules, self._most_readings, self._in_hand = body, rules, most_readings, in_hand

    def answers(self, count: Callable[[Outcome], None]) -> Iterator[bytes]:
        """Yield an answer a line; at most one line more, on why there are no others."""
        try:
            for outcome in answer_decoded(requests_in_stream(self._body), self._rules, self._most_readings):
                count(outcome)
                self._in_hand.count(outcome)
                yield as_json(outcome.as_dict()) + b"\n"
            if self._body.broken_off:
                yield self._ended(self._body.broken_off)
        except Exception as error:  # noqa: BLE001 (told to the client, whose answer has begun)
            # Its own text may hold what was sent.
            LOG.error("a stream failed: %s at %s", type(error).__name__, raised_at(error),
                      extra={"fields": self._in_hand.ids})  # fmt: skip
            yield self._ended("failed")

    def unread(self) -> Iterator[bytes]:
        """Yield the line for a client that reads nothing, and read away what it still sends."""
        yield self._ended("not-read")
        while self._body.read(PIECE):
            pass

    def _ended(self, code: str) -> bytes:
        self._in_hand.ended = code
        return as_json({"ended": code, "after_answers": self._in_hand.answered, "detail": WHY_ENDED[code]}) + b"\n"


def streamed(rules: Rules, most_readings: int, count: Callable[[Outcome], None]) -> Response:
    """Return the answers to the stream that is sent. Raises Busy if as many are answered as a worker takes on."""
    capacity: Capacity = current_app.extensions["heartlevel-capacity"]
    body = Arriving(request.stream, current_app.extensions["heartlevel-stopping"])
    kept = Kept(int(current_app.config["STREAM_KEPT_BYTES"]), PATIENCE, to_the_end="Via" in request.headers)
    in_hand = StreamInHand(capacity.take_stream())
    stream = StreamOfAnswers(body, rules, most_readings, in_hand)
    connection = request.environ.get("gunicorn.socket")
    if isinstance(connection, PacedSocket):
        connection.ends_early = True
    answers = kept_until_read(stream.answers(count), stream.unread, kept)
    response = Response(_until_left(answers, in_hand), content_type=NDJSON)
    response.call_on_close(partial(in_hand.is_over, False))  # also where nothing was ever read
    return response


def _until_left(answers: Iterator[bytes], in_hand: StreamInHand) -> Iterator[bytes]:
    read_to_the_end = False
    try:
        yield from answers
        read_to_the_end = True
    finally:
        in_hand.is_over(read_to_the_end)


def is_stream() -> bool:
    """Say whether the request is answered line by line."""
    return request.mimetype == NDJSON


def never() -> bool:
    """Stop for nothing: outside a server."""
    return False
