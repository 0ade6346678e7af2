"""Errors over HTTP: RFC 9457 problem objects, all faults of a request at once, never any of its data in logs."""

import logging
from http import HTTPStatus
from typing import Any

import orjson
from flask import Flask, Response, g
from werkzeug.exceptions import HTTPException

from heartlevel.intake.request import RefusedRequest, TooManyReadings

MEDIA_TYPE = "application/problem+json"
LOG = logging.getLogger("heartlevel")


def problem_response(status: int, detail: str, **more: Any) -> Response:
    """Return a problem object with the request's id."""
    title = HTTPStatus(status).phrase
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, "request_id": g.request_id}
    return Response(orjson.dumps(body | more), status, content_type=MEDIA_TYPE)


def refused(error: RefusedRequest) -> Response:
    """The request was understood as JSON, but cannot be assessed."""
    faults = [problem.as_dict() for problem in error.problems]
    return problem_response(422, str(error), problems=faults)


def too_many(error: TooManyReadings) -> Response:
    """The request is larger than allowed."""
    return problem_response(413, str(error))


def http_error(error: HTTPException) -> Response:
    """What routing or the server refuses: unknown path, method, size, media type."""
    response = problem_response(error.code or 500, error.description or "")
    allowed = getattr(error, "valid_methods", None)
    if allowed:
        response.headers["Allow"] = ", ".join(sorted(allowed))
    return response


def unexpected(error: Exception) -> Response:
    """A defect of ours: the caller gets an id, the log the place, nobody the data.

    The exception's own text may hold what was sent, so only its type and the place are written.
    """
    LOG.error("request %s failed: %s at %s", g.request_id, type(error).__name__, place_of(error))
    return problem_response(500, "the service failed; quote the request id when reporting it")


def place_of(error: BaseException) -> str:
    """Return file and line where an exception was raised."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "unknown place"


def register(app: Flask) -> None:
    """Answer every kind of error with a problem object."""
    app.register_error_handler(RefusedRequest, refused)
    app.register_error_handler(TooManyReadings, too_many)
    app.register_error_handler(HTTPException, http_error)
    app.register_error_handler(Exception, unexpected)
