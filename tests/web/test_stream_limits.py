"""One stream may have so many lines, bytes and seconds: beyond them it ends with a line that says which, and what to do."""

import gzip
import json
from itertools import count, repeat

import pytest

from heartlevel.web.application import create_app
from heartlevel.web.connections import arriving, rest
from heartlevel.web.connections.arriving import Arriving, MostOfStream
from heartlevel.web.connections.rest import read_away
from heartlevel.web.connections.streams import _until_left, never
from support import rules, week

NDJSON = "application/x-ndjson"
LINE = json.dumps(week(days=1)).encode() + b"\n"
LINES, BYTES = 5, 4 * len(LINE) + 100


@pytest.fixture(scope="module")
def app():
    return create_app({"STREAM_LINES": LINES, "STREAM_BYTES": BYTES}, rules())


@pytest.fixture(scope="module")
def by_lines():
    return create_app({"STREAM_LINES": LINES}, rules()).test_client()


def told(client, body: bytes, **headers: str) -> list[dict]:
    response = client.post("/v1/assessments", data=body, content_type=NDJSON, headers=headers)
    assert response.status_code == 200
    return [json.loads(line) for line in response.data.splitlines()]


class Endless:
    """A body of the same piece again and again."""

    def __init__(self, piece: bytes) -> None:
        self.piece, self.read_so_far = piece, 0

    def read(self, size: int, /) -> bytes:
        self.read_so_far += len(self.piece)
        return self.piece


@pytest.mark.parametrize("refused", [b"", b"{\n"])
def test_a_stream_of_more_lines_than_it_may_have_ends_with_a_line_that_says_so(by_lines, refused):
    sent = refused + (LINES - bool(refused)) * LINE
    assert [line.get("ended") for line in told(by_lines, sent)] == [None] * LINES
    *answers, last = told(by_lines, sent + 2 * LINE)
    assert len(answers) == LINES
    assert [line.get("ended") for line in told(by_lines, b"\n" * LINES + LINE)] == ["too-many-lines"]
    assert (last["ended"], last["after_answers"]) == ("too-many-lines", LINES)
    assert last["detail"] == "a stream may have 5 lines, empty ones too; send the lines after those as another stream"


@pytest.mark.parametrize("coding", ["", "gzip"])
def test_a_stream_of_more_bytes_than_it_may_have_ends_with_a_line_that_says_so(client, coding):
    pack = {"": bytes, "gzip": gzip.compress}[coding]
    headers = {"Content-Encoding": coding} if coding else {}
    whole = 4 * LINE + b" " * (BYTES - 4 * len(LINE))
    assert len(told(client, pack(whole), **headers)) == 4
    last = told(client, pack(whole + b" "), **headers)[-1]
    assert last["ended"] == "too-many-bytes" and str(BYTES) in last["detail"]


def test_lines_that_came_before_the_last_byte_allowed_are_answered():
    body = Arriving(Endless(LINE), never, MostOfStream(100, 3 * len(LINE), 100))
    assert [*iter(lambda: body.read(10), b"")] == 3 * [LINE] and body.broken_off == "too-many-bytes"


def test_a_stream_that_takes_longer_than_it_may_ends_where_it_is():
    moments = count(step=10)
    body = Arriving(Endless(LINE), never, MostOfStream(100, 10**9, 35), lambda: next(moments))
    assert [*iter(lambda: body.read(10), b"")] == 3 * [LINE] and body.broken_off == "too-long"


def test_what_is_still_sent_is_read_away_up_to_a_limit(monkeypatch):
    monkeypatch.setattr(rest, "MOST_BYTES", 3 * len(LINE))
    sent = Endless(LINE)
    read_away(sent)
    assert sent.read_so_far == 3 * len(LINE)
    monkeypatch.setattr(rest, "MOST_SECONDS", 0)
    sent = Endless(LINE)
    read_away(sent)
    assert sent.read_so_far == 0


class InHand:
    """Notes how a stream ended."""

    ended = ""

    def is_over(self, read_to_the_end: bool) -> None:
        self.is_complete = read_to_the_end


def test_a_client_that_reads_its_answers_for_too_long_is_left():
    in_hand = InHand()
    with pytest.raises(BrokenPipeError):
        next(_until_left(repeat(b"answer"), in_hand, 0.0))
    assert (in_hand.ended, in_hand.is_complete) == ("too-long", False)


def test_empty_lines_have_others_take_their_turn(monkeypatch):
    turns = []
    monkeypatch.setattr(arriving, "give_way", lambda: turns.append(1))
    body = Arriving(Endless(b"\n" * 100), never, MostOfStream(10**6, 1_000, 100))
    assert not [line for piece in iter(lambda: body.read(100), b"") for line in piece.split(b"\n") if line]
    assert len(turns) >= 10
