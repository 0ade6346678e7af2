"""How long a client is waited for, by a clock and a socket of the test's own."""

import pytest
from gunicorn.http.body import ChunkedReader
from gunicorn.http.errors import LimitRequestHeaders

from heartlevel.web.connections import framing, pace
from heartlevel.web.connections.framing import ChunksTooSmall, watch_chunks
from heartlevel.web.connections.pace import PIECE, Pace, PacedSocket, TooSlow

PACE = Pace(first_request=20, next_request=65, head=10, body=20, least_rate=1000, whole_body=1000, piece_of_answer=20)


class Client:
    """A socket whose client sends its pieces at given times, and reads everything at once, or nothing."""

    def __init__(self, *sends: tuple[float, bytes], reads: bool = True) -> None:
        self.sends, self.reads, self.now, self.received = list(sends), reads, 0.0, b""

    def settimeout(self, seconds: float) -> None:
        self.patience = seconds

    def recv(self, size: int) -> bytes:
        at, piece = self.sends[0] if self.sends else (float("inf"), b"")
        if at > self.now + self.patience:
            self.now += self.patience
            raise TimeoutError
        self.now = max(self.now, at)
        self.sends.pop(0)
        return piece

    def sendall(self, data: bytes) -> None:
        if not self.reads:
            self.now += self.patience
            raise TimeoutError
        self.received += data


def paced(client: Client) -> PacedSocket:
    return PacedSocket(client, PACE, lambda: client.now)  # type: ignore[arg-type]


def test_a_client_that_sends_nothing_is_left_without_a_word():
    client = Client()
    assert paced(client).recv(10) == b""
    assert client.now == 20


def test_a_head_has_ten_seconds_from_its_first_byte_however_it_drips():
    client = Client(*((19 + second, b"x") for second in range(60)))
    connection = paced(client)
    assert [connection.recv(10) for _ in range(11)] == [b"x"] * 11
    with pytest.raises(TooSlow, match="head"):
        connection.recv(10)
    assert client.now == pytest.approx(29, abs=0.1)  # and no more than its bytes take
    assert connection.recv(10) == b""  # told once


@pytest.mark.parametrize(("rate", "comes"), [(2000, True), (1100, True), (900, False), (1, False)])
def test_a_body_may_take_as_long_as_its_bytes_at_the_least_rate(rate, comes):
    """Beyond the time that every body has; a minute of 900 bytes a second is 20 s and 54 s late at 74 s, not before."""
    client = Client((0, b"head"), *((second, b"x" * rate) for second in range(1, 300)))
    connection = paced(client)
    connection.recv(10)
    connection.await_body()
    sent = 0
    try:
        while sent < 299 * rate:
            sent += len(connection.recv(rate))
    except TooSlow:
        assert not comes
    else:
        assert comes


def test_between_two_requests_a_client_may_wait_longer_than_before_the_first():
    client = Client((1, b"head"), (60, b"head"))
    connection = paced(client)
    connection.recv(10)
    connection.await_body()
    assert not connection.is_idle
    connection.await_request()
    assert connection.is_idle
    assert connection.recv(10) == b"head"


def test_an_answer_that_is_not_read_ends_the_connection_and_one_that_is_read_comes_whole():
    reader = Client()
    paced(reader).sendall(b"y" * (3 * PIECE + 5))
    assert reader.received == b"y" * (3 * PIECE + 5)
    other = Client(reads=False)
    with pytest.raises(BrokenPipeError):
        paced(other).sendall(b"y" * (3 * PIECE))
    assert other.now == 20  # not once for each piece


def test_no_silence_is_longer_than_a_minute_however_much_came_before():
    client = Client((0, b"head"), (1, b"x" * 10_000_000))
    connection = paced(client)
    connection.recv(10)
    connection.await_body()
    connection.recv(10_000_000)
    with pytest.raises(TooSlow, match="body"):
        connection.recv(10)
    assert client.now == pytest.approx(1 + PACE.longest_silence, abs=0.1)


def test_a_body_that_is_answered_as_a_whole_has_two_minutes_however_fast_it_comes_and_a_stream_has_no_end():
    for is_stream in (False, True):
        client = Client((0, b"head"), *((second, b"x" * 50_000) for second in range(1, 300)))
        connection = PacedSocket(client, Pace(), lambda client=client: client.now)  # type: ignore[arg-type]
        connection.recv(10)
        connection.await_body()
        connection.ends_early = is_stream
        if is_stream:
            assert all(connection.recv(60_000) for _ in range(299))
            continue
        with pytest.raises(TooSlow, match="body"):
            list(map(connection.recv, [60_000] * 299))
        assert client.now == pytest.approx(120, abs=1)


def test_a_head_longer_than_any_is_not_kept():
    client = Client(*((0, b"x" * 8_192) for _ in range(6)))
    connection = paced(client)
    with pytest.raises(LimitRequestHeaders):
        list(map(connection.recv, [8_192] * 6))


def body_in_chunks(chunk: bytes, client: PacedSocket) -> ChunkedReader:
    """Return a chunked body of the same chunk without end."""
    reader = ChunkedReader(None, None)

    def pieces():
        while client.recv(len(chunk) + 5):
            yield chunk

    reader.parser = pieces()
    watch_chunks(reader, client)
    return reader


@pytest.mark.parametrize(("size", "is_left"), [(1, True), (10, True), (50, False)])
def test_a_body_whose_chunks_hold_next_to_nothing_is_left(size, is_left, monkeypatch):
    """Around each chunk are some five bytes: of one in forty there may be any number."""
    monkeypatch.setattr(framing, "FRAMING", 1_000)
    connection = paced(Client(*[(0, b"x" * (size + 5))] * 2_000))
    connection.await_body()
    reader = body_in_chunks(b"x" * size, connection)
    if is_left:
        with pytest.raises(ChunksTooSmall):
            reader.read(2_000 * size)
        assert connection.received < 300 * (size + 5)
    else:
        assert len(reader.read(2_000 * size)) == 2_000 * size


def test_a_client_that_has_sent_much_lets_others_have_their_turn(monkeypatch):
    turns = []
    monkeypatch.setattr(pace, "give_way", lambda: turns.append(1))
    connection = paced(Client(*[(0, b"x" * 1024)] * 320))
    connection.await_body()
    for _ in range(320):
        connection.recv(1024)
    assert 5 < len(turns) <= 10
