"""Each request has ids, a line in the log when it is over, and its part in the counters."""

import logging
import re
from collections.abc import Callable
from http import HTTPMethod
from time import perf_counter
from typing import Any
from uuid import uuid4

from flask import Flask, Response, current_app, g, request

from heartlevel.one_call import Outcome
from heartlevel.web.observing.audit import AuditLog
from heartlevel.web.observing.counters import (
    STREAM_LINES,
    STREAMS,
    RulesTold,
    WorkTold,
    count_faults,
    count_reload,
    count_request,
    count_seconds,
    count_urgency,
)
from heartlevel.web.observing.spans import RequestSpan, begin_span
from heartlevel.web.observing.trace_context import TRACEPARENT, TRACESTATE, TraceContext, trace_context
from heartlevel.web.rules.reloading import RulesInForce

LOG = logging.getLogger("heartlevel")
HEADER = "X-Request-Id"
METHODS = {method.value for method in HTTPMethod}
ACCEPTED_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
COMPLETE, LEFT = "complete", "client-left"


def observe(app: Flask, in_force: RulesInForce, work: WorkTold) -> None:
    """Give every request of the application ids, a log line and its part in the counters, and tell of rules and work."""
    told = RulesTold()
    app.extensions["heartlevel-rules-told"], app.extensions["heartlevel-work-told"] = told, work

    def tell_reload(outcome: str) -> None:
        count_reload(outcome)
        told.tell(in_force.current.ruleset)

    in_force.on_reload = tell_reload
    app.before_request(_begin)
    app.after_request(_end)
    app.teardown_request(_be_over)


def _begin() -> None:
    g.began = perf_counter()
    given = request.headers.get(HEADER, "")
    # Only a plain id is accepted: it goes into logs and into a response header.
    g.request_id = given if ACCEPTED_ID.fullmatch(given) else uuid4().hex
    g.trace = begin_span(trace_context(request.headers.get(TRACEPARENT), request.headers.get(TRACESTATE)))
    g.ids = {"request_id": g.request_id, "trace_id": g.trace.trace_id, "span_id": g.trace.span_id}


def _end(response: Response) -> Response:
    method, route, status = method_asked(), route_asked(), response.status_code
    audit: AuditLog = current_app.extensions["heartlevel-audit"]
    took = perf_counter() - g.began
    count_request(route, status, g.pop("problem", None))
    if level := g.pop("urgency_level", None):
        count_urgency(level)
    count_faults(g.pop("fault_codes", ()))
    span = _span_told(method, route, status)
    if (stream := g.get("stream")) is None:
        count_seconds(route, took)
        if span is not None:
            span.end()
        log_answer(g.ids, method, route, status, {"duration_ms": round(1000 * took, 1)})
        audit.write(audit.entry(method, route, status))
    else:
        stream.begun_with((method, route, status), audit.entry(method, route, status))
    trace: TraceContext = g.trace
    response.headers[HEADER] = g.request_id
    response.headers[TRACEPARENT] = trace.traceparent
    if trace.state:
        response.headers[TRACESTATE] = trace.state
    if request.method == "POST":
        response.headers["Cache-Control"] = "no-store"  # it holds what was measured
    current_app.extensions["heartlevel-work-told"].tell()
    return response


def _span_told(method: str, route: str, status: int) -> RequestSpan | None:
    span: RequestSpan | None = g.get("span")
    if span is not None:
        rules = g.get("rules")
        span.tell(method, route, status, rules.ruleset.fingerprint if rules is not None else None)
    return span


def _be_over(_: BaseException | None) -> None:
    current_app.extensions["heartlevel-work-told"].tell()


def route_asked() -> str:
    """Return the route of the request: a pattern, as a path may hold anything."""
    return request.url_rule.rule if request.url_rule else "unmatched"


def method_asked() -> str:
    """Return the method of the request; what is none may be a part of a body."""
    return request.method if request.method in METHODS else "?"


def log_answer(ids: dict[str, str], method: str, route: str, status: int, fields: dict[str, Any]) -> None:
    """Log a request that is over."""
    told = {**ids, "method": method, "route": route, "status": status, **fields}
    LOG.info("%s %s %d", method, route, status, extra={"fields": told})


class StreamInHand:
    """A stream that is being answered: its lines are counted, and it is logged once, when it is over."""

    def __init__(self, over: Callable[[], None]) -> None:
        """Follow the stream of the request that is being answered; `over` is called at its end."""
        self.ids: dict[str, str] = g.ids
        self.ended = ""  # why it was ended, where it was not by its last line
        self._over, self._began = over, g.began
        self._lines = self._refused = 0
        self._head: tuple[str, str, int] | None = None
        self._entry: dict[str, Any] | None = None
        self._audit: AuditLog = current_app.extensions["heartlevel-audit"]
        self._span: RequestSpan | None = g.get("span")
        self._tell_work = current_app.extensions["heartlevel-work-told"].tell
        g.stream = self

    @property
    def answered(self) -> int:
        """How many lines were answered, or refused in their place."""
        return self._lines

    def begun_with(self, head: tuple[str, str, int], entry: dict[str, Any] | None) -> None:
        """Take what its answer began with, method, route and status, and its entry for the audit log."""
        self._head, self._entry = head, entry

    def count(self, outcome: Outcome) -> None:
        """Count a line."""
        self._lines += 1
        self._refused += outcome.answer is None
        STREAM_LINES.labels("refused" if outcome.answer is None else "answered").inc()

    def is_over(self, read_to_the_end: bool) -> None:
        """Log it, unless that is done."""
        if self._head is None:
            return
        head, self._head = self._head, None
        ended = self.ended or (COMPLETE if read_to_the_end else LEFT)
        STREAMS.labels(ended).inc()
        told = {"duration_ms": round(1000 * (perf_counter() - self._began), 1), "lines": self._lines,
                "refused_lines": self._refused, "ended": ended}  # fmt: skip
        log_answer(self.ids, *head, told)
        if self._span is not None:
            self._span.end(lines=self._lines, refused_lines=self._refused, ended=ended)
        self._audit.write(self._entry and {**self._entry, "outcome": "answered" if ended == COMPLETE else ended})
        self._over()
        self._tell_work()
