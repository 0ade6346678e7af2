"""A collector of spans: takes what is sent by OTLP over HTTP (OTLP 1.x: POST /v1/traces, application/x-protobuf)."""

from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.resource.v1.resource_pb2 import Resource
from opentelemetry.proto.trace.v1.trace_pb2 import Span


class Collector(ThreadingHTTPServer):
    """Keeps the bodies that are sent to it."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.bodies: list[bytes] = []

    def settings(self) -> dict[str, str]:
        """Return what a service is started with to send its spans here, soon."""
        address = f"http://127.0.0.1:{self.server_port}"
        return {"HEARTLEVEL_SPANS": "true", "OTEL_BSP_SCHEDULE_DELAY": "200", "OTEL_EXPORTER_OTLP_ENDPOINT": address}

    def spans(self) -> list[tuple[Resource, Span]]:
        messages = [ExportTraceServiceRequest.FromString(body) for body in self.bodies]
        resources = [resource for message in messages for resource in message.resource_spans]
        return [(one.resource, span) for one in resources for scope in one.scope_spans for span in scope.spans]


class _Handler(BaseHTTPRequestHandler):
    server: Collector

    def do_POST(self) -> None:
        is_right = (self.path, self.headers["Content-Type"]) == ("/v1/traces", "application/x-protobuf")
        length = int(self.headers["Content-Length"])
        if len(body := self.rfile.read(length)) == length:  # cut off, it is sent again
            self.server.bodies.append(body)
            self.send_response(200 if is_right else 400)
            self.end_headers()

    def log_message(self, *_: object) -> None:
        """Keep the tests' output clean."""


@contextmanager
def collecting() -> Iterator[Collector]:
    with Collector() as collector:
        thread = Thread(target=collector.serve_forever)
        thread.start()
        try:
            yield collector
        finally:
            collector.shutdown()
            thread.join()
