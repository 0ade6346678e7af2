"""The rest of a body that is answered before it has come: who is still sending would not come to read the answer."""

from contextlib import suppress
from time import monotonic

from gunicorn.http.errors import NoMoreData, ParseException

from heartlevel.intake.ndjson import PIECE, Readable
from heartlevel.web.connections.capacity import MEBIBYTE
from heartlevel.web.connections.pace import TooSlow
from heartlevel.web.connections.turns import give_way

MOST_BYTES, MOST_SECONDS = 64 * MEBIBYTE, 30


def read_away(body: Readable) -> None:
    """Read what is still sent of a body, as it comes over the wire, for a moment and up to a limit."""
    left, last_moment = MOST_BYTES, monotonic() + MOST_SECONDS
    with suppress(TooSlow, ParseException, NoMoreData, OSError):  # it is answered already
        while left > 0 and monotonic() < last_moment and (piece := body.read(PIECE)):
            left -= len(piece)
            give_way()
