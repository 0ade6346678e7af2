"""The routes that assess, and those that tell of the service. No arithmetic and no clinical knowledge here."""

from collections.abc import Callable
from functools import partial
from sys import maxsize

from flask import Blueprint, Response, after_this_request, current_app, request

from heartlevel.answer.detail import in_detail
from heartlevel.answer.whole import as_json
from heartlevel.fhir.call import bundle_for
from heartlevel.fhir.names import FHIR_JSON
from heartlevel.one_call import Outcome, device_answer_to, whole_answer_to
from heartlevel.report.call import report_for
from heartlevel.ruling.tools.own_schema import document_with
from heartlevel.version import VERSION
from heartlevel.web.access.guard import may_read_rules
from heartlevel.web.access.readiness import readiness
from heartlevel.web.answering import (
    JSON,
    choose_rules,
    in_force,
    keeper,
    kept,
    most_readings,
    readings_sent,
    respond,
    rules_in_force,
    sent_as_json,
    tagged,
)
from heartlevel.web.bodies.answered import chosen_by_accept
from heartlevel.web.connections.streams import is_stream, streamed
from heartlevel.web.fhir.written import bundle_response, codes_in_use, now
from heartlevel.web.observing.counters import count_answer, count_refused
from heartlevel.web.observing.exposition import metrics
from heartlevel.web.problems import problem_response
from heartlevel.web.promises.kinds import KINDS
from heartlevel.web.together import Together
from heartlevel.web.written_as_report import REPORT_KINDS, report_response

routes = Blueprint("heartlevel", __name__)
routes.before_request(choose_rules)
routes.add_url_rule("/metrics", view_func=metrics, methods=["GET"])


@routes.post("/v1/assessments")
def assess_subjects() -> Response:
    """Assess one subject (JSON) or one a line (NDJSON)."""
    after_this_request(chosen_by_accept)
    if is_stream():
        request.max_content_length = maxsize  # a stream may be long: its lines are limited instead of its whole
        return tagged(streamed(rules_in_force(), most_readings(), partial(_keep_line, keeper())))
    kind = request.accept_mimetypes.best_match([JSON, FHIR_JSON, *REPORT_KINDS], JSON)
    if kind == FHIR_JSON:
        bundle, answer = bundle_for(readings_sent(), rules_in_force(), codes_in_use(), most_readings(), now())
        keeper()(answer)
        return bundle_response(bundle)
    if kind in REPORT_KINDS:
        return report_response(partial(report_for, readings_sent(), rules_in_force(), most_readings()), keeper(), kind)
    together: Together = current_app.extensions["heartlevel-together"]
    asked, answer = whole_answer_to(readings_sent(), rules_in_force(), most_readings(), together.answer)
    keeper()(answer)
    return respond(in_detail(answer, asked.detail))


def _keep_line(keep: Callable[..., None], outcome: Outcome) -> None:
    if outcome.answer is not None:
        keep(outcome.answer, line=outcome.line)
    else:
        count_refused(outcome)


@routes.post("/v1/device-checks")
def check_devices() -> Response:
    """Hold devices against references, without anyone's readings."""
    answer = device_answer_to(sent_as_json(), rules_in_force())
    count_answer(0, 0, [finding["rule"] for finding in answer["findings"]])
    return respond(answer)


@routes.get("/v1/openapi.json")
def get_contract() -> Response:
    """Return the OpenAPI document, to who may read rules with the facts of one's own that those in force declare."""
    text = document_with(rules_in_force().ruleset.own_facts if may_read_rules() else ())
    response = Response(text, content_type=JSON)
    response.add_etag()  # it changes with the program, not with the rules
    return kept(response)


@routes.get("/health")
def get_health() -> Response:
    """Say that the process answers."""
    return respond({"status": "up", "service": VERSION})


@routes.get("/ready")
def get_readiness() -> Response:
    """Say that requests are answered, and to who may read rules with which, and why changed rule files were refused."""
    if current_app.extensions["heartlevel-stopping"]():
        return problem_response(KINDS["unavailable"], "the service is being stopped")
    told = readiness(in_force(), rules_in_force().ruleset, is_told_all := may_read_rules())
    return respond(told) if is_told_all else Response(as_json(told), content_type=JSON)
