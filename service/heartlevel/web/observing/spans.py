"""Spans of requests by OpenTelemetry, where they are switched on: names of what is done and numbers, nothing that was sent.

A span has what OpenTelemetry's conventions for HTTP servers (1.23) ask for, but for the address that was asked: it may hold
anything. Where spans are sent to, and how many, is said by OpenTelemetry's own settings (OTEL_...).
"""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from importlib.util import find_spec
from os import environ
from typing import TYPE_CHECKING

from flask import current_app, g, has_app_context, request

from heartlevel.version import VERSION
from heartlevel.web.access.guard import FROM_PROBES
from heartlevel.web.observing.trace_context import SAMPLED, TraceContext
from heartlevel.web.settings import PREFIX, WrongSettings

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import SpanProcessor
    from opentelemetry.trace import Span

NAME = "heartlevel"
LEAST_STATUS_OF_FAILURES = 500  # of the service; what is below is the caller's


class RequestSpan:
    """The span of a request, and of what is done for it."""

    def __init__(self, tracing: "Tracing", span: "Span") -> None:
        """Take a span that has begun."""
        self._tracing, self._span = tracing, span

    def context(self, sent: TraceContext) -> TraceContext:
        """Return the context of the request with the ids of its span."""
        ids = self._span.get_span_context()
        flags = int(ids.trace_flags) & SAMPLED
        return replace(sent, trace_id=f"{ids.trace_id:032x}", span_id=f"{ids.span_id:016x}", flags=flags)

    @contextmanager
    def part(self, name: str) -> Iterator[None]:
        """Have what is done meanwhile as a span of its own in this one; of an exception nothing is kept."""
        span = self._tracing.begun_in(self._span, name)
        try:
            yield
        finally:
            span.end()

    def tell(self, method: str, route: str, status: int, fingerprint: str | None) -> None:
        """Say what was asked, how it was answered, and by which rules."""
        told: dict[str, str | int] = {"http.request.method": method, "http.route": route}
        told["http.response.status_code"] = status
        if fingerprint is not None:
            told["heartlevel.rules"] = fingerprint
        if status >= LEAST_STATUS_OF_FAILURES:
            told["error.type"] = str(status)
            self._tracing.mark_failed(self._span)
        self._span.update_name(f"{method} {route}")
        self._span.set_attributes(told)

    def end(self, **numbers: str | int) -> None:
        """End it; of a stream with how many lines it had and why it ended."""
        self._span.set_attributes({f"heartlevel.stream.{name}": number for name, number in numbers.items()})
        self._span.end()


class Tracing:
    """What makes the spans of a process. Needs the extra `otel`."""

    def __init__(self) -> None:
        """Make spans that go nowhere yet; the settings are read that OTEL_... name."""
        from opentelemetry import trace
        from opentelemetry.sdk.resources import SERVICE_NAME, SERVICE_VERSION, Resource
        from opentelemetry.sdk.trace import TracerProvider

        named = {SERVICE_NAME: environ.get("OTEL_SERVICE_NAME", NAME), SERVICE_VERSION: VERSION}
        self._api = trace
        self._provider = TracerProvider(resource=Resource.create(named), shutdown_on_exit=False)
        self._tracer = self._provider.get_tracer(NAME, VERSION)

    def pass_to(self, processor: "SpanProcessor") -> None:
        """Have every span passed to this from now on."""
        self._provider.add_span_processor(processor)

    def send(self) -> None:
        """Have spans sent by OTLP over HTTP, some at a time. A thread begins here: call it in the process that answers."""
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
        from opentelemetry.sdk.trace.export import BatchSpanProcessor

        self.pass_to(BatchSpanProcessor(OTLPSpanExporter()))

    def end(self) -> None:
        """Send what is left."""
        self._provider.shutdown()

    def begun(self, sent: TraceContext) -> RequestSpan:
        """Begin the span of a request, in its caller's if it names one."""
        api, parent = self._api, None
        if sent.parent_id is not None:
            ids = api.SpanContext(int(sent.trace_id, 16), int(sent.parent_id, 16), True, api.TraceFlags(sent.flags))
            parent = api.set_span_in_context(api.NonRecordingSpan(ids))
        return RequestSpan(self, self._tracer.start_span(NAME, parent, kind=api.SpanKind.SERVER))

    def begun_in(self, span: "Span", name: str) -> "Span":
        """Begin a span inside another."""
        return self._tracer.start_span(name, self._api.set_span_in_context(span))

    def mark_failed(self, span: "Span") -> None:
        """Say of a span that what it stands for failed."""
        span.set_status(self._api.StatusCode.ERROR)


def tracing_by() -> Tracing:
    """Return what makes spans. Raises WrongSettings where the extra is missing."""
    if find_spec("opentelemetry") is None:
        raise WrongSettings(f"{PREFIX}SPANS needs the extra `otel`, which is not installed here")
    return Tracing()


def begin_span(sent: TraceContext) -> TraceContext:
    """Begin the span of the request that is being answered, and return its context; the same where there are no spans."""
    tracing: Tracing | None = current_app.extensions["heartlevel-tracing"]
    if tracing is None or request.environ.get(FROM_PROBES):
        return sent
    g.span = tracing.begun(sent)
    return g.span.context(sent)  # type: ignore[no-any-return]


def part_of_trace(name: str) -> AbstractContextManager[None]:
    """Have what is done meanwhile for the request that is being answered as a span of its own, where there are spans."""
    span: RequestSpan | None = g.get("span") if has_app_context() else None
    return nullcontext() if span is None else span.part(name)
