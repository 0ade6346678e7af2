"""Streams over HTTP: a line answered as it comes, ended with a line that says why if not by the client."""

import logging
from collections.abc import Callable, Iterator
from errno import EPIPE
from functools import partial
from time import monotonic

from flask import Response, current_app, request

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.intake.ndjson import PIECE, Readable, requests_in_stream
from heartlevel.one_call import Outcome, answer_decoded
from heartlevel.web.connections.arriving import Arriving, MostOfStream
from heartlevel.web.connections.capacity import Capacity
from heartlevel.web.connections.pace import PacedSocket
from heartlevel.web.connections.rest import read_away
from heartlevel.web.connections.spool import Kept, kept_until_read
from heartlevel.web.observing.each_request import StreamInHand
from heartlevel.web.observing.logs import raised_at

LOG = logging.getLogger("heartlevel")
NDJSON = "application/x-ndjson"
PATIENCE = 15  # seconds without reading, once as much is kept as may be
SEND_AGAIN = "send the lines after those again"
AS_ANOTHER = "send the lines after those as another stream"
WHY_ENDED = {
    "too-many-lines": f"a stream may have {{most.lines}} lines, empty ones too; {AS_ANOTHER}",
    "too-many-bytes": f"a stream may have {{most.bytes}} bytes, counted as they are once decoded; {AS_ANOTHER}",
    "too-long": f"a stream may take {{most.seconds}} seconds; {AS_ANOTHER}",
    "not-read": "the answers were not read while lines were sent: read them at the same time, or send fewer lines",
    "too-slow": f"the lines came too slowly; {SEND_AGAIN}",
    "stopping": f"the service is being stopped; {SEND_AGAIN}",
    "client-left": f"the body broke off; {SEND_AGAIN}",
    "broken-body": f"what was sent is not chunked as HTTP asks; {SEND_AGAIN}",
    "failed": f"the service failed; quote the request id when reporting it, and {SEND_AGAIN}",
}


class StreamOfAnswers:
    """Answers to the lines of one request, with how many there were."""

    def __init__(self, body: Arriving, sent: Readable, rules: Rules, most_readings: int, in_hand: StreamInHand) -> None:
        """Take the body, what is sent of it, the rules, how many readings a line may hold, and who counts lines."""
        self._body, self._sent, self._rules, self._most_readings = body, sent, rules, most_readings
        self._in_hand = in_hand

    def answers(self, count: Callable[[Outcome], None]) -> Iterator[bytes]:
        """Yield an answer a line; at most one line more, on why there are no others."""
        try:
            for outcome in answer_decoded(requests_in_stream(self._body), self._rules, self._most_readings):
                count(outcome)
                self._in_hand.count(outcome)
                yield as_json(outcome.as_dict()) + b"\n"
            if self._body.broken_off:
                yield self._ended(self._body.broken_off)
            read_away(self._sent)
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
        detail = WHY_ENDED[code].format(most=self._body.most)
        return as_json({"ended": code, "after_answers": self._in_hand.answered, "detail": detail}) + b"\n"


def streamed(rules: Rules, most_readings: int, count: Callable[[Outcome], None]) -> Response:
    """Return the answers to the stream that is sent. Raises Busy if as many are answered as a worker takes on."""
    capacity: Capacity = current_app.extensions["heartlevel-capacity"]
    most = MostOfStream(*(int(current_app.config[f"STREAM_{name}"]) for name in ("LINES", "BYTES", "SECONDS")))
    body = Arriving(request.stream, current_app.extensions["heartlevel-stopping"], most)
    kept = Kept(int(current_app.config["STREAM_KEPT_BYTES"]), PATIENCE, to_the_end="Via" in request.headers)
    in_hand = StreamInHand(capacity.take_stream())
    stream = StreamOfAnswers(body, request.environ["wsgi.input"], rules, most_readings, in_hand)
    connection = request.environ.get("gunicorn.socket")
    if isinstance(connection, PacedSocket):
        connection.ends_early = True
    answers = kept_until_read(stream.answers(count), stream.unread, kept)
    response = Response(_until_left(answers, in_hand, monotonic() + 2 * most.seconds), content_type=NDJSON)
    response.call_on_close(partial(in_hand.is_over, False))  # also where nothing was ever read
    return response


def _until_left(answers: Iterator[bytes], in_hand: StreamInHand, last_moment: float) -> Iterator[bytes]:
    """Yield answers until the client leaves, or has read for so long that it is left."""
    read_to_the_end = False
    try:
        for piece in answers:
            if monotonic() > last_moment:
                in_hand.ended = "too-long"
                raise BrokenPipeError(EPIPE, "read too slowly")
            yield piece
        read_to_the_end = True
    finally:
        in_hand.is_over(read_to_the_end)


def is_stream() -> bool:
    """Say whether the request is answered line by line."""
    return request.mimetype == NDJSON


def never() -> bool:
    """Stop for nothing: outside a server."""
    return False
