"""Slow clients of five kinds beside others: nobody else waits for them, and each is left in time or served in the end."""

import json
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress

import pytest

from load.server import Server, get, served
from support import week

BODY = json.dumps(week()).encode()
POST = b"POST /v1/assessments HTTP/1.1\r\nHost: x\r\nContent-Type: "
HEAD = POST + b"application/json\r\nContent-Length: %d\r\n\r\n" % len(BODY)
STREAM = POST + b"application/x-ndjson\r\nConnection: close\r\n"
CHUNKED = STREAM + b"Transfer-Encoding: chunked\r\n\r\n"
LINE = BODY + b"\n"


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[Server]:
    with served(tmp_path_factory.mktemp("slow"), probes=True, HEARTLEVEL_STREAM_KEPT_BYTES="2000000") as running:
        yield running


def connected(server: Server) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.port), timeout=60)


def read_to_end(client: socket.socket) -> bytes:
    pieces = []
    while piece := client.recv(1 << 20):
        pieces.append(piece)
    return b"".join(pieces)


# What each of many slow clients has sent, and how many there are: more than threads could serve at once.
SLOW = {
    "nothing": (b"", 300),
    "a part of a head": (HEAD[:40], 60),
    "a part of a body": (HEAD + BODY[:50], 60),
    "a part of a stream": (CHUNKED + b"1\r\n \r\n", 12),
    "much, and reads nothing": ((HEAD + BODY) * 40, 20),
}


@pytest.mark.parametrize("sent", SLOW)
def test_slow_clients_keep_nobody_from_being_answered(server, sent):
    data, clients = SLOW[sent]
    with ExitStack() as open_ones:
        for _ in range(clients):
            client = open_ones.enter_context(closing(connected(server)))
            client.settimeout(0.01)
            with suppress(TimeoutError):  # as much as it takes: this client reads nothing
                client.sendall(data)
        for _ in range(5):
            assert server.get("/health")[0] == 200
            assert get(server.probes_port, "/ready")[0] == 200
            connection = server.connection()
            connection.request("POST", "/v1/assessments", BODY, {"Content-Type": "application/json"})
            assert connection.getresponse().status == 200
            connection.close()


def test_more_streams_than_a_worker_takes_on_are_refused_for_a_moment(server):
    with ExitStack() as open_ones:
        answers = []
        for _ in range(40):
            client = open_ones.enter_context(closing(connected(server)))
            client.sendall(CHUNKED + b"1\r\n \r\n")
            answers.append(client)
        time.sleep(0.2)
        refused = []
        for client in answers:
            client.settimeout(0.2)
            try:
                refused.append(client.recv(12) == b"HTTP/1.1 503")
            except TimeoutError:
                refused.append(False)
        assert 10 <= sum(refused) < 40


def test_a_client_that_sends_its_whole_stream_before_it_reads_gets_every_answer(server):
    lines = 300  # 5 MB of answers: more than sockets hold
    whole = b"503"
    while b"503" in whole[:20]:  # streams of the clients before may not be over yet
        with closing(connected(server)) as client, suppress(ConnectionError):  # one refused may not be read to its end
            client.sendall(STREAM + b"Content-Length: %d\r\n\r\n" % (lines * len(LINE)))
            for _ in range(lines // 3):
                client.sendall(LINE * 3)
            time.sleep(0.1)
            whole = read_to_end(client)
    assert whole.count(b'{"subject":') == lines or b'"ended":"not-read"' in whole


def test_a_stream_ends_with_a_line_when_the_service_is_stopped(tmp_path):
    with served(tmp_path, workers=1) as own, closing(connected(own)) as client:
        client.sendall(CHUNKED)
        for _ in range(3):
            client.sendall(b"%X\r\n" % len(LINE) + LINE + b"\r\n")
        time.sleep(0.2)
        own.process.send_signal(signal.SIGTERM)
        client.sendall(b"%X\r\n" % len(LINE) + LINE + b"\r\n")
        whole = read_to_end(client)
        assert own.process.wait(60) == 0
    assert 3 <= whole.count(b'{"subject":') <= 4 and b'"ended":"stopping"' in whole


def test_nothing_that_is_no_request_is_quoted_in_the_log(server):
    """A body whose length is counted in characters leaves a rest that is read as the next request."""
    marker = b"MARKER-118"
    for sent in (
        HEAD.replace(b"POST", marker) + BODY,
        HEAD + BODY + marker + b'": 118, "systolic": 200\r\n\r\n',
        HEAD[:-2] + b"bad header " + marker + b": x\r\n\r\n" + BODY,
        HEAD[:-2] + b"Transfer-Encoding: " + marker + b"\r\n\r\n",
        CHUNKED + marker + b"\r\n",
        b"GET /" + marker + b"\x00 HTTP/9\r\n\r\n",
    ):
        with closing(connected(server)) as client:
            client.sendall(sent)
            client.shutdown(socket.SHUT_WR)
            read_to_end(client)
    assert [line for line in server.log.read_bytes().splitlines() if marker in line] == []
    assert b"Traceback" not in server.log.read_bytes()
