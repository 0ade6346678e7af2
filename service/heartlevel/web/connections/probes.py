"""Health, readiness and metrics on an address of their own, answered by a thread of the operating system's in each worker.

It answers while the worker assesses, however many clients the other address has.
"""

import socket
from collections.abc import Callable, Iterable
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer

from gevent import monkey

from heartlevel.web.access.guard import FROM_PROBES

PATHS = ("/health", "/ready", "/metrics")
Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class _Handler(WSGIRequestHandler):
    timeout = 5  # seconds, of each wait for a client

    def log_message(self, *_: Any) -> None:
        """The application logs what it answers."""


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True


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
