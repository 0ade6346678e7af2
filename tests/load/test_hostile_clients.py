"""Clients of the real server that are slow, or send what is no body: nobody else waits for them, and each is told why."""

import json
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
IN_CHUNKS = b"Connection: close\r\nTransfer-Encoding: chunked\r\n\r\n"
CHUNKED = STREAM + b"Transfer-Encoding: chunked\r\n\r\n"
LINE = BODY + b"\n"


LIMIT = 100_000  # bytes of a body


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[Server]:
    limits = {"HEARTLEVEL_STREAM_KEPT_BYTES": "2000000", "HEARTLEVEL_MAX_CONTENT_LENGTH": str(LIMIT)}
    with served(tmp_path_factory.mktemp("hostile"), probes=True, **limits) as running:
        yield running


def connected(server: Server) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.port), timeout=60)


def read_to_end(client: socket.socket, *broken: type[Exception]) -> bytes:
    """Return what comes until the connection ends, or breaks in one of these ways."""
    pieces = []
    with suppress(*broken):
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


def chunked(content: bytes, size: int) -> bytes:
    """Return content in chunks (RFC 9112, 7.1)."""
    pieces = (content[first : first + size] for first in range(0, len(content), size))
    return b"".join(b"%X\r\n%b\r\n" % (len(piece), piece) for piece in pieces) + b"0\r\n\r\n"


def answered(server: Server, sent: bytes) -> bytes:
    """Return all that is answered to what a client sends, which then says that it has sent all."""
    with closing(connected(server)) as client:
        with suppress(ConnectionError):  # answered, and left, before all was sent
            client.sendall(sent)
            client.shutdown(socket.SHUT_WR)
        return read_to_end(client)


JUNK, JSON = b"{" * (LIMIT + 1), BODY + b" " * (LIMIT + 1 - len(BODY))


@pytest.mark.parametrize(
    "body", [JUNK, JSON, bytes(LIMIT + 1), 30 * JSON], ids=["junk", "json", "zeros", "many times more"]
)
@pytest.mark.parametrize("size", [1_000, 70_000])
@pytest.mark.parametrize("path", [b"/v1/assessments", b"/v1/fhir/assessments", b"/v1/tables", b"/v1/patient-sheets"])
def test_a_chunked_body_over_the_limit_is_too_large_whatever_is_in_it(server, path, size, body):
    head = POST.replace(b"/v1/assessments", path) + b"application/json\r\n" + IN_CHUNKS
    assert answered(server, head + chunked(body, size)).startswith(b"HTTP/1.1 413")


def test_a_chunked_body_at_the_limit_is_read(server):
    head = POST + b"application/json\r\n" + IN_CHUNKS
    assert answered(server, head + chunked(JSON[:LIMIT], 4_000)).startswith(b"HTTP/1.1 200")
    assert b"not JSON" in answered(server, head + chunked(JUNK[:LIMIT], 4_000))


# By RFC 9112, 7.1 and 6.1: what stands where a chunk, or the end of all, should be.
MALFORMED = {
    "no number": b"zz\r\nab\r\n0\r\n\r\n",
    "nothing": b"\r\n",
    "a sign": b"-1\r\na\r\n0\r\n\r\n",
    "0x": b"0x1\r\na\r\n0\r\n\r\n",
    "a number that has no end": b"1" * 9_000,
    "a line that ends with LF alone": b"1\na\n0\n\n",
    "a chunk shorter than it says": b"5\r\nab\r\n0\r\n\r\n",
    "a chunk longer than it says": b"1\r\nabc\r\n0\r\n\r\n",
    "an extension without a name": b"1;\r\na\r\n0\r\n\r\n",
    "no end": b"1\r\na\r\n",
    "no end after the last chunk": b"1\r\na\r\n0\r\n",
    "a trailer that is none": b"1\r\na\r\n0\r\nbad trailer\r\n\r\n",
    "chunks of next to nothing": b"1;a=12345678901234567890\r\nx\r\n" * 60_000,
    "extensions of any length": (b"1;a=" + b"b" * 1_500 + b"\r\nx\r\n") * 1_000,
}


@pytest.mark.parametrize("body", MALFORMED.values(), ids=MALFORMED)
def test_what_is_not_chunked_as_http_asks_is_refused(server, body):
    assert answered(server, POST + b"application/json\r\n" + IN_CHUNKS + body).startswith(b"HTTP/1.1 400")


@pytest.mark.parametrize("name", ["no number", "no end", "chunks of next to nothing"])
def test_a_stream_that_is_not_chunked_as_http_asks_is_answered_up_to_there(server, name):
    whole = answered(server, CHUNKED + b"%X\r\n%b\r\n" % (len(LINE), LINE) + MALFORMED[name])
    assert whole.startswith(b"HTTP/1.1 200") and b'"after_answers":1' in whole
    assert (b'"ended":"client-left"' if name == "no end" else b'"ended":"broken-body"') in whole


def test_two_lengths_of_one_body_are_refused(server):
    """RFC 9112, 6.3: it may be an attempt to smuggle a request past a proxy."""
    both = POST + b"application/json\r\nContent-Length: 5\r\n" + IN_CHUNKS
    assert answered(server, both + chunked(BODY, 100)).startswith(b"HTTP/1.1 400")


# source: RFC 9112, section 3.2
@pytest.mark.parametrize(("version", "hosts", "status"), [
    (b"1.1", b"", b"400"), (b"1.1", b"Host: x\r\nHost: x\r\n", b"400"), (b"1.1", b"host: x\r\n", b"200"),
    (b"1.0", b"", b"200"), (b"1.0", b"Host: x\r\nHost: y\r\n", b"400"),
])  # fmt: skip
def test_a_request_names_one_host_if_its_version_asks_for_one(server, version, hosts, status):
    head = b"GET /health HTTP/" + version + b"\r\n" + hosts + b"Connection: close\r\n\r\n"
    assert answered(server, head).split()[1] == status


def test_no_header_says_under_what_path_the_service_is_called(server):
    """gunicorn takes SCRIPT_NAME of callers on the same machine for the word of a proxy (RFC 3875, 4.1.13)."""
    with closing(connected(server)) as client:
        client.sendall(
            b"GET /health HTTP/1.1\r\nHost: x\r\nSCRIPT_NAME: /hea\r\nPATH_INFO: /metrics\r\nConnection: close\r\n\r\n"
        )
        assert b'{"status":"up"' in read_to_end(client)
