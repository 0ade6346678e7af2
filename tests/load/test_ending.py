"""The real server is stopped, restarted, killed, or loses its workers while requests and streams are in flight.

What is in flight is answered to its end where anything is left to answer it; a stream ends with a line that says how far
it came, or breaks off, which HTTP shows: a chunked body has no end then. No worker is left behind.
"""

import json
import os
import signal
import socket
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass

import pytest

from load.server import Server, exists, get, served, until
from load.test_hostile_clients import BODY, CHUNKED, HEAD, LINE, connected, read_to_end

STOPPING, LAST_CHUNK = b'"ended":"stopping","after_answers":3', b"\r\n0\r\n\r\n"


@dataclass
class InFlight:
    """A request of which a half has been sent, a stream of which three lines have, and a connection without a request."""

    half: socket.socket
    stream: socket.socket
    idle: socket.socket

    def rest(self, *broken: type[Exception]) -> tuple[bytes, bytes, bytes]:
        """Send the rest of the request; return all that is answered to the three, until it ends or breaks so."""
        try:
            self.half.sendall(BODY[100:])
            answered = self.half.recv(1 << 20)
        except ConnectionError:
            answered = b""
        return answered, *(read_to_end(client, *broken) for client in (self.stream, self.idle))


@contextmanager
def in_flight(server: Server) -> Iterator[InFlight]:
    with ExitStack() as open_ones:
        sent = InFlight(*(open_ones.enter_context(closing(connected(server))) for _ in range(3)))
        sent.half.sendall(HEAD + BODY[:100])
        sent.stream.sendall(CHUNKED + 3 * (b"%X\r\n" % len(LINE) + LINE + b"\r\n"))
        for _ in range(3):  # by then the others are with a worker
            assert server.get("/health")[0] == 200
        yield sent


def gone(workers: list[int]) -> bool:
    return not any(map(exists, workers))


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[Server]:
    with served(tmp_path_factory.mktemp("ending"), probes=True) as running:
        yield running


def test_workers_that_are_killed_are_replaced_and_what_they_had_begun_is_not_taken_for_whole(server):
    killed = server.workers()
    with in_flight(server) as sent:
        for worker in killed:
            os.kill(worker, signal.SIGKILL)
        half, stream, idle = sent.rest(ConnectionResetError)  # where a killed worker had not read all that was sent
    assert (half, idle) == (b"", b"") and not stream.endswith(LAST_CHUNK)
    until(lambda: len(server.workers()) == 2 and gone(killed), server)
    assert server.get("/ready")[0] == get(server.probes_port, "/ready")[0] == 200


def restarted(server: Server, sent: InFlight) -> None:
    half, stream, idle = sent.rest()
    assert half.startswith(b"HTTP/1.1 200") and idle == b""
    assert stream.count(b'{"subject":') == 3 and STOPPING in stream and stream.endswith(LAST_CHUNK)


def test_a_restart_answers_what_is_in_flight_and_leaves_no_worker_behind(server):
    before = server.workers()
    with in_flight(server) as sent:
        server.process.send_signal(signal.SIGHUP)
        restarted(server, sent)
    until(lambda: gone(before) and len(server.workers()) == 2, server)
    connection = server.connection()
    connection.request("POST", "/v1/assessments", BODY, {"Content-Type": "application/json"})
    assert json.loads(connection.getresponse().read())["subject"] == {"id": "s-1"}
    connection.close()


def test_a_server_that_is_stopped_answers_what_is_in_flight_and_is_not_ready_meanwhile(server):
    workers = server.workers()
    with in_flight(server) as sent:
        server.process.send_signal(signal.SIGTERM)
        until(lambda: get(server.probes_port, "/ready")[0] == 503, server)
        restarted(server, sent)
    assert server.process.wait(60) == 0 and gone(workers)
    with pytest.raises(ConnectionRefusedError):
        connected(server)
    assert b"Traceback" not in server.log.read_bytes()


def test_workers_whose_parent_is_killed_answer_what_is_in_flight_and_end(tmp_path):
    with served(tmp_path) as server:
        workers = server.workers()
        with in_flight(server) as sent:
            server.process.kill()
            server.process.wait(60)
            restarted(server, sent)
        for _ in range(600):
            if gone(workers):
                break
            signal.sigtimedwait([], 0.1)
        assert gone(workers) and b"the parent process is gone" in server.log.read_bytes()
