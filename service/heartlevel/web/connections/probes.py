"""Health, readiness and metrics on an address of their own, answered by a thread of the operating system's in each worker.

It answers while the worker assesses, however many clients the other address has.
"""

import logging
import socket
import sys
from collections.abc import Callable, Iterable
from http import HTTPStatus
from socketserver import ThreadingMixIn
from typing import IO, Any, cast
from wsgiref.simple_server import ServerHandler, WSGIRequestHandler, WSGIServer

from gevent import monkey

from heartlevel.web.access.guard import FROM_PROBES
from heartlevel.web.observing.failures import tell

LOG = logging.getLogger("heartlevel")
LONGEST_LINE = 65_536  # bytes
PATHS = ("/health", "/ready", "/metrics")
Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class _Answer(ServerHandler):
    def log_exception(self, exc_info: Any) -> None:
        """Log what failed by its kind and place; its text may hold what was sent."""
        tell("an answer to a probe", exc_info[1])


class _Handler(WSGIRequestHandler):
    timeout = 5  # seconds, of each wait for a client

    def handle(self) -> None:
        """Answer one request as the inherited method does, but for what is logged."""
        self.raw_requestline = self.rfile.readline(LONGEST_LINE + 1)
        if len(self.raw_requestline) > LONGEST_LINE:
            self.requestline = self.request_version = self.command = ""
            self.send_error(HTTPStatus.REQUEST_URI_TOO_LONG)
        elif self.parse_request():
            sent, told = cast(IO[bytes], self.rfile), cast(IO[bytes], self.wfile)
            answer = _Answer(sent, told, self.get_stderr(), self.get_environ(), multithread=True)
            answer.request_handler = self  # type: ignore[attr-defined]  # by which it says how it ended
            answer.run(self.server.get_app())  # type: ignore[attr-defined]

    def log_message(self, *_: Any) -> None:
        """The application logs what it answers."""


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True

    def handle_error(self, *_: Any) -> None:
        """Log what became of a connection, by its kind alone."""
        LOG.info("a connection for probes was closed: %s", type(sys.exception()).__name__)


def listener(host: str, port: int) -> socket.socket:
    """Return a socket that listens; open it before forking, so that all workers answer on it."""
    return socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET, backlog=128)


def answer_probes(listening: socket.socket, application: Application) -> None:
    """Answer health, readiness and metrics, and nothing else, from now on."""

    def only_probes(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if environ.get("PATH_INFO") not in PATHS:
            start_response("404 Not Found", [("Content-Length", "0")])
            return [b""]
        return application(environ | {FROM_PROBES: True}, start_response)

    def serve() -> None:
        # Patched for greenlets, a socket belongs to the thread that waits for it: it is made here.
        server = _Server(listening.getsockname()[:2], _Handler, bind_and_activate=False)
        server.socket = socket.socket(fileno=listening.fileno())
        server.server_name, server.server_port = listening.getsockname()[:2]
        server.setup_environ()
        server.set_app(only_probes)
        server.serve_forever()

    monkey.get_original("_thread", "start_new_thread")(serve, ())
