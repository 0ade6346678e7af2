"""Request ids, one log line a request, and counters; ids and numbers of things, never a reading."""

import logging
import re
from http import HTTPMethod
from time import perf_counter
from uuid import uuid4

from flask import Flask, Response, g, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest, multiprocess, values
from prometheus_client.exposition import CONTENT_TYPE_LATEST

LOG = logging.getLogger("heartlevel")
HEADER = "X-Request-Id"
METHODS = {method.value for method in HTTPMethod}
ACCEPTED_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
REQUESTS = Counter("heartlevel_requests_total", "Requests answered", ["route", "status"])
SECONDS = Histogram("heartlevel_request_seconds", "Time to answer", ["route"])
READINGS = Counter("heartlevel_readings_total", "Readings assessed")
RECEIVED = Counter("heartlevel_readings_received_total", "Readings received in requests that were answered")
LOST = Counter("heartlevel_readings_lost_total", "Readings received and not assessed")
FINDINGS = Counter("heartlevel_findings_total", "Findings given", ["rule"])
URGENCIES = Counter("heartlevel_urgency_total", "Answers, and refused requests, by level", ["level"])
LOST_DECISIONS = Counter("heartlevel_decisions_lost_total", "Decisions that could not be kept")
FEEDBACK = Counter("heartlevel_card_feedback_total", "What became of cards", ["outcome"])
RELOADS = Counter("heartlevel_rule_reloads_total", "Changed rule files taken over or refused", ["outcome"])
REFUSED = Gauge("heartlevel_rules_refused", "1 while changed rule files are refused", multiprocess_mode="livemax")


def follow_requests(app: Flask) -> None:
    """Give every request of the application an id, a log line and its part in the counters."""
    app.before_request(_begin)
    app.after_request(_end)


def _begin() -> None:
    given = request.headers.get(HEADER, "")
    # Only a plain id is accepted: it goes into logs and into a response header.
    g.request_id = given if ACCEPTED_ID.fullmatch(given) else uuid4().hex
    g.began = perf_counter()


def _end(response: Response) -> Response:
    route = request.url_rule.rule if request.url_rule else "unmatched"
    took = perf_counter() - g.began
    REQUESTS.labels(route, response.status_code).inc()
    if level := g.pop("urgency_level", None):
        count_urgency(level)
    SECONDS.labels(route).observe(took)
    method = request.method if request.method in METHODS else "?"  # what is none may be a part of a body
    LOG.info("%s %s %s %d %.1f ms", g.request_id, method, route, response.status_code, 1000 * took)
    response.headers[HEADER] = g.request_id
    if request.method == "POST":
        response.headers["Cache-Control"] = "no-store"  # it holds what was measured
    return response


def count_answer(received: int, assessed: int, rules: list[str]) -> None:
    """Count what a request and its answer held."""
    RECEIVED.inc(received)
    READINGS.inc(assessed)
    LOST.inc(received - assessed)
    for rule in rules:
        FINDINGS.labels(rule).inc()


def count_urgency(level: str) -> None:
    """Count how urgent an answer is, or what is legible of a refused request."""
    URGENCIES.labels(level).inc()


def count_lost_decisions(decisions: int) -> None:
    """Count decisions that the file for them could not take."""
    LOST_DECISIONS.inc(decisions)


def count_reload(outcome: str) -> None:
    """Count changed rule files that were taken over or refused."""
    RELOADS.labels(outcome).inc()
    REFUSED.set(outcome == "refused")


def metrics() -> Response:
    """Return the counters of all workers in the Prometheus text format."""
    registry = CollectorRegistry()
    if values.ValueClass.__name__ == "MmapedValue":
        multiprocess.MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    else:
        for metric in (REQUESTS, SECONDS, READINGS, RECEIVED, LOST, FINDINGS, URGENCIES, LOST_DECISIONS, FEEDBACK, RELOADS,
                       REFUSED):  # fmt: skip
            registry.register(metric)
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
