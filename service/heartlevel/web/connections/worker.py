"""gunicorn's worker for many connections (gevent's), with deadlines, and without a word of what was sent in its log.

A client that waits, sends or reads costs a worker a connection and no thread: 500 idle ones delay nobody.
"""

import logging
import os
import socket
from http import HTTPStatus
from typing import Any
from weakref import WeakSet

import gevent
import orjson
from gunicorn.http import errors
from gunicorn.workers.ggevent import GeventWorker

from heartlevel.web.connections.framing import watch_chunks
from heartlevel.web.connections.pace import Pace, PacedSocket, TooSlow
from heartlevel.web.connections.turns import give_way

LOG = logging.getLogger("heartlevel")
STATUS_OF = {
    TooSlow: HTTPStatus.REQUEST_TIMEOUT,
    errors.LimitRequestLine: HTTPStatus.REQUEST_URI_TOO_LONG,
    errors.LimitRequestHeaders: HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE,
    errors.UnsupportedTransferCoding: HTTPStatus.NOT_IMPLEMENTED,
    errors.ExpectationFailed: HTTPStatus.EXPECTATION_FAILED,
    errors.ParseException: HTTPStatus.BAD_REQUEST,
}
KEPT_BY_SYSTEM = 256 * 1024  # bytes of an answer that the operating system holds, or twice as many; it would take megabytes
SECONDS_BETWEEN_LOOKS = 0.1


class NotOneHost(errors.ParseException):  # type: ignore[misc]
    """A request names no host, though its version asks for one, or several (RFC 9112, 3.2)."""


class ManyConnections(GeventWorker):  # type: ignore[misc]
    """A worker that no slow client holds up."""

    pace = Pace()
    alive: bool

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Begin without connections."""
        super().__init__(*args, **kwargs)
        self._connections: WeakSet[PacedSocket] = WeakSet()

    def run(self) -> None:
        """Serve; once the worker is to end, streams and clients without a request are not waited for."""
        gevent.spawn(self._stop_waiting)
        super().run()

    def notify(self) -> None:
        """Show that the worker is alive; one whose parent is gone ends as one that is told to, and no sooner."""
        self.tmp.notify()
        if self.alive and self.ppid != os.getppid():
            LOG.info("the parent process is gone: the worker ends")
            self.alive = False

    def _stop_waiting(self) -> None:
        while self.alive:
            gevent.sleep(SECONDS_BETWEEN_LOOKS)
        for connection in list(self._connections):
            if connection.is_idle or connection.ends_early:
                connection.stop_waiting()

    def handle(self, listener: Any, client: Any, addr: Any) -> None:
        """Serve a connection until it is closed."""
        client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, KEPT_BY_SYSTEM)
        paced = PacedSocket(client, self.pace)
        self._connections.add(paced)
        super().handle(listener, paced, addr)

    def timeout_ctx(self) -> Any:
        """Leave the time that a client may wait to its socket."""
        return gevent.Timeout(None)

    def handle_request(self, listener_name: Any, req: Any, sock: PacedSocket, addr: Any) -> None:
        """Answer a request."""
        _want_host(req)
        sock.await_body()
        watch_chunks(req.body.reader, sock)
        super().handle_request(listener_name, req, sock, addr)
        if not self.alive:
            raise StopIteration  # closes the connection
        sock.await_request()
        give_way()  # a client that has sent many requests at once has one answered in its turn

    def handle_error(self, req: Any, client: PacedSocket, addr: Any, exc: BaseException) -> None:
        """Answer what is no request, or did not come in time; log its kind and nothing that was sent."""
        status = next((status for kind, status in STATUS_OF.items() if isinstance(exc, kind)), None)
        LOG.log(logging.INFO if status else logging.ERROR, "a connection was closed: %s", type(exc).__name__)
        status = status or HTTPStatus.INTERNAL_SERVER_ERROR
        body = orjson.dumps({"type": "about:blank", "title": status.phrase, "status": status.value})
        head = f"HTTP/1.1 {status.value} {status.phrase}\r\nContent-Type: application/problem+json\r\n"
        try:
            client.sendall(f"{head}Connection: close\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body)
        except OSError:
            LOG.info("a client left before it could be told")


def _want_host(req: Any) -> None:
    named = sum(name == "HOST" for name, _ in req.headers)
    if named > 1 or (not named and req.version >= (1, 1)):
        raise NotOneHost
