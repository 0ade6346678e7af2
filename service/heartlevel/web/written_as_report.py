"""Answers as the report to look at: a page, the same printed, or its plot alone."""

from collections.abc import Callable, Sequence
from typing import Any

from flask import Response, abort, g

from heartlevel.handouts.rendering import page_policy
from heartlevel.report.page import printed, report_page
from heartlevel.report.report import Report
from heartlevel.web.answering import JSON

HTML, PDF, SVG = "text/html", "application/pdf", "image/svg+xml"
REPORT_KINDS = (HTML, PDF, SVG)
MOST_REPORTS = 10  # to one call for several people: each is drawn while the caller waits
NO_PLOTS = f"this installation draws no plots (extra `pages`); ask for {JSON}"
PLOT_POLICY = "default-src 'none'; style-src 'unsafe-inline'"  # the plot's own styles; there is no script in it


def report_response(
    make: Callable[[], tuple[Report, dict[str, Any]]], keep: Callable[[dict[str, Any]], None], kind: str
) -> Response:
    """Return the report that is made, as one of REPORT_KINDS, and keep its answer. Aborts with 406 where it cannot be."""
    try:
        report, answer = make()
    except ModuleNotFoundError:
        abort(406, NO_PLOTS)
    keep(answer)
    return _written(report, kind)


def _written(report: Report, kind: str) -> Response:
    if kind == SVG:
        if report.readings is None:
            abort(406, f"no reading could be assessed, so there is no plot; ask for {JSON}")
        response = Response(report.readings, content_type=SVG)
        response.headers["Content-Security-Policy"] = PLOT_POLICY
    elif kind == PDF:
        response = Response(_pdf(report), content_type=PDF)
    else:
        response = page_response(report_page(report))
    response.set_etag(g.rules.ruleset.fingerprint)
    return response


def reports_response(reports: Sequence[Callable[[], Report]]) -> Response:
    """Return one page with a report on each of several people; aborts with 406 where it cannot be made, 422 for nobody."""
    if not reports:
        abort(422, f"nobody in it could be assessed, so there is no report; {JSON} names what is wrong")
    if len(reports) > MOST_REPORTS:
        abort(406, f"{len(reports)} people; reports are made on {MOST_REPORTS} at most, ask for {JSON}")
    try:
        page = report_page(*(make() for make in reports))
    except ModuleNotFoundError:
        abort(406, NO_PLOTS)
    return page_response(page)


def page_response(page: bytes) -> Response:
    """Return a page with the policy that lets nothing into it."""
    response = Response(page, content_type=f"{HTML}; charset=utf-8")
    response.headers["Content-Security-Policy"] = page_policy()
    return response


def _pdf(report: Report) -> bytes:
    try:
        return printed(report_page(report))
    except (ModuleNotFoundError, OSError):
        abort(406, "this installation prints no PDF (extra `pdf`, and the library Pango); ask for text/html and print that")
