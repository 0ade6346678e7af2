"""Errors over HTTP: RFC 9457 problem objects, all faults of a request at once, never any of its data in logs."""

import logging
from dataclasses import asdict
from http import HTTPStatus
from typing import Any

import orjson
from flask import Flask, Response, g, request
from gunicorn.http.errors import NoMoreData, ParseException
from werkzeug.exceptions import HTTPException

from heartlevel.answer.urgency import is_urgent
from heartlevel.intake.faults import problems_written
from heartlevel.intake.ndjson import BrokenBody
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.intake.texts.json_text import TooManyValues, UnreadableText
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.web.connections.capacity import Busy
from heartlevel.web.connections.pace import TooSlow
from heartlevel.web.connections.rest import read_away
from heartlevel.web.observing.logs import raised_at
from heartlevel.web.promises.kinds import KINDS, ProblemKind, kind_of_status

MEDIA_TYPE = "application/problem+json"
UNREADABLE: dict[type[UnreadableText], str] = {BrokenBody: "damaged-body", TooManyValues: "too-large"}
LOG = logging.getLogger("heartlevel")


def problem_response(kind: ProblemKind, detail: str, **more: Any) -> Response:
    """Return a problem object with the request's id; its `instance` is the page of its kind, with that id."""
    g.problem = kind.name or str(kind.status)  # counted when the answer goes out
    body = {"type": kind.uri, "title": kind.title, "status": kind.status, "detail": detail,
            "instance": f"{kind.uri}#{g.request_id}", "request_id": g.request_id}  # fmt: skip
    response = Response(orjson.dumps(body | more), kind.status, content_type=MEDIA_TYPE)
    if kind.status == HTTPStatus.SERVICE_UNAVAILABLE:
        response.headers["Retry-After"] = "1"
    return response


def refused(error: RefusedRequest) -> Response:
    """The request was understood as JSON, but cannot be assessed."""
    g.fault_codes = [fault.code for fault in error.problems]  # counted when the answer goes out
    return problem_response(
        KINDS["refused"], str(error), problems=problems_written(error.problems), **_urgency(error.urgency)
    )


def unreadable(error: UnreadableText) -> Response:
    """The body is no JSON, or is damaged; what is legible of it may be urgent all the same."""
    name = next((name for kind, name in UNREADABLE.items() if isinstance(error, kind)), "not-json")
    kind = KINDS[name]
    read_away(request.environ["wsgi.input"])
    return problem_response(kind, str(error), **_urgency(error.urgency))


def _urgency(urgency: dict[str, Any] | None) -> dict[str, Any]:
    if urgency is None:
        return {}
    g.urgency_level = urgency["level"]  # counted when the answer goes out
    return {"urgent": is_urgent(urgency), "urgency": urgency}


def rules_at_fault(error: RuleFaults) -> Response:
    """Candidate rule files with mistakes: each with its file, line and column, and what to do about it."""
    faults = [{**asdict(fault), "cure": fault.cure} for fault in error.faults]
    return problem_response(KINDS["rules-at-fault"], "the candidate rule files have mistakes", faults=faults)


def too_many(error: TooManyReadings) -> Response:
    """The request is larger than allowed."""
    return problem_response(KINDS["too-many-readings"], str(error))


def busy(error: Busy) -> Response:
    """The worker has enough to do: the same request can be sent again."""
    return problem_response(KINDS["unavailable"], f"{error}; send the request again in a moment")


def too_slow(error: TooSlow) -> Response:
    """The client took too long to send the request."""
    return problem_response(KINDS["too-slow"], str(error))


def broken_body(error: Exception) -> Response:
    """The body is not what HTTP's framing says it is, or its end never came."""
    return problem_response(KINDS["damaged-body"], "the body is not whole, or not chunked as HTTP asks")


def http_error(error: HTTPException) -> Response:
    """What routing or the server refuses: unknown path, method, size, media type."""
    if error.code == 413:
        read_away(request.environ["wsgi.input"])
    name, status = getattr(error, "kind", ""), error.code or HTTPStatus.INTERNAL_SERVER_ERROR
    kind = KINDS.get(name) or kind_of_status(status) or ProblemKind("", status, HTTPStatus(status).phrase, "", "")
    response = problem_response(kind, error.description or "")
    allowed = getattr(error, "valid_methods", None)
    response.headers.update(getattr(error, "headers", {}))
    if error.code == 401:
        response.headers["WWW-Authenticate"] = "Bearer"
    if allowed:
        response.headers["Allow"] = ", ".join(sorted(allowed))
    return response


def unexpected(error: Exception) -> Response:
    """A defect of the service: the caller gets the request's id, the log the file and line, nobody the data.

    The exception's own text may hold what was sent, so only its type, file and line are logged.
    """
    LOG.error("request %s failed: %s at %s", g.request_id, type(error).__name__, raised_at(error))
    return problem_response(KINDS["failed"], "the service failed; quote the request id when reporting it")


def handle_errors(app: Flask) -> None:
    """Answer every kind of error with a problem object."""
    app.register_error_handler(RefusedRequest, refused)
    app.register_error_handler(UnreadableText, unreadable)
    app.register_error_handler(RuleFaults, rules_at_fault)
    app.register_error_handler(TooManyReadings, too_many)
    app.register_error_handler(Busy, busy)
    app.register_error_handler(TooSlow, too_slow)
    for kind in (ParseException, NoMoreData):
        app.register_error_handler(kind, broken_body)
    app.register_error_handler(HTTPException, http_error)
    app.register_error_handler(Exception, unexpected)
