"""The routes of the service. No arithmetic and no clinical knowledge here."""

from collections.abc import Callable
from functools import partial
from sys import maxsize
from typing import Any, cast

from flask import Blueprint, Response, abort, after_this_request, current_app, g, request

from heartlevel.answer.detail import in_detail
from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.decisions.decided import decided_in
from heartlevel.decisions.log import DecisionLog
from heartlevel.facts.catalogue import Fact
from heartlevel.fhir.call import bundle_for
from heartlevel.fhir.names import FHIR_JSON
from heartlevel.intake.texts.json_text import UnreadableText, parsed_json
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.one_call import Outcome, device_answer_to, urgency_in, whole_answer_to
from heartlevel.report.call import report_for
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.own_schema import document_with
from heartlevel.ruling.tools.translating.outstanding import languages_in
from heartlevel.version import VERSION
from heartlevel.web.access.guard import may_read_rules
from heartlevel.web.access.readiness import readiness
from heartlevel.web.bodies.answered import chosen_by_accept
from heartlevel.web.bodies.sent import OtherMediaType, sent
from heartlevel.web.connections.streams import NDJSON, is_stream, streamed
from heartlevel.web.observing.counters import count_answer, count_assessed, count_refused
from heartlevel.web.observing.exposition import metrics
from heartlevel.web.problems import problem_response
from heartlevel.web.promises.kinds import KINDS
from heartlevel.web.promises.paths import RULE_ID
from heartlevel.web.reloading import RulesInForce
from heartlevel.web.together import Together
from heartlevel.web.trials import try_candidate
from heartlevel.web.written_as_fhir import bundle_response, codes_in_use, now
from heartlevel.web.written_as_report import REPORT_KINDS, report_response

JSON = "application/json"
routes = Blueprint("heartlevel", __name__)
routes.add_url_rule("/metrics", view_func=metrics, methods=["GET"])


def in_force() -> RulesInForce:
    """Return the application's rules and what became of changes to their files."""
    return cast(RulesInForce, current_app.extensions["heartlevel"])


@routes.before_request
def choose_rules() -> Response | None:
    """Answer the whole request with one rule set; with the pinned one (If-Match) or not at all."""
    g.rules = in_force().current
    fingerprint = g.rules.ruleset.fingerprint
    if request.if_match and not request.if_match.contains(fingerprint):
        # The response has the tag of the rules in force, so that the caller can pin them without asking again.
        return tagged(problem_response(KINDS["other-rules"], f"the rules in force are {fingerprint}"))
    return None


def rules_in_force() -> Rules:
    """Return the rules this request is answered with."""
    return cast(Rules, g.rules)


def respond(body: Any, status: int = 200) -> Response:
    """Return a JSON response that names the rules it was made with."""
    return tagged(Response(as_json(body), status, content_type=JSON))


def of_program(body: Any) -> Response:
    """Return a JSON response that changes with the program, not with the rules: its ETag is a hash of it."""
    response = Response(body if isinstance(body, bytes) else as_json(body), content_type=JSON)
    response.add_etag()
    return kept(response)


def tagged(response: Response) -> Response:
    """Name the rules in a response's ETag (RFC 9110, 8.8.3)."""
    response.set_etag(rules_in_force().ruleset.fingerprint)
    return response


def sent_as_json(*allowed: str) -> Any:
    """Parse the JSON sent; NaN and Infinity are values of no field. Raises OtherMediaType, UnreadableText, 413."""
    if request.mimetype not in (allowed or (JSON,)):
        raise OtherMediaType(allowed or (JSON,))
    return parsed_json(sent(request).whole_body())


def readings_sent(*allowed: str) -> Any:
    """Parse what holds readings. Raises as `sent_as_json` does, with how urgent what is legible of a text is."""
    try:
        return sent_as_json(*(allowed or (JSON, NDJSON)))
    except UnreadableText as error:
        error.urgency = urgency_in(legible_in(error.text), rules_in_force())
        raise


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


@routes.post("/v1/device-checks")
def check_devices() -> Response:
    """Hold devices against references, without anyone's readings."""
    answer = device_answer_to(sent_as_json(), rules_in_force())
    count_answer(0, 0, [finding["rule"] for finding in answer["findings"]])
    return respond(answer)


def most_readings() -> int:
    """Return how many readings one request may hold."""
    return int(current_app.config["MOST_READINGS"])


def keeper() -> Callable[..., None]:
    """Return what counts an answer to this request and keeps what was decided in it; also once the request is over.

    It takes the answer and, of several to one request, where what it answers stands.
    """
    log: DecisionLog = current_app.extensions["heartlevel-decisions"]
    return partial(_keep, log, g.request_id)


def _keep(log: DecisionLog, request_id: str, answer: dict[str, Any], **where: int) -> None:
    count_assessed(answer)
    log.write(request_id, [{**where, **decided_in(answer)}])


def _keep_line(keep: Callable[..., None], outcome: Outcome) -> None:
    if outcome.answer is not None:
        keep(outcome.answer, line=outcome.line)
    else:
        count_refused(outcome)


@routes.post("/v1/rules/trial")
def try_rules() -> Response:
    """Try candidate rule files on requests: what would change."""
    if not current_app.config["TRIALS"]:
        abort(403, "trials are switched off here")
    return respond(try_candidate(sent_as_json(), in_force(), rules_in_force()))


def kept(response: Response) -> Response:
    """Answer 304 where the caller has the same already, by its ETag (If-None-Match)."""
    return cast(Response, response.make_conditional(request))


@routes.get("/v1/rules")
def get_rules() -> Response:
    """List the rules in force."""
    ruleset = rules_in_force().ruleset
    head = {"name": ruleset.name, "revision": ruleset.revision, "fingerprint": ruleset.fingerprint}
    silenced = [{"id": name, **change.as_dict()} for name, change in ruleset.silenced().items()]
    layers = [layer.as_dict() for layer in ruleset.layers]
    rules = [_in_force(ruleset, rule) for rule in ruleset.every_rule()]
    languages = list(languages_in(ruleset))
    return kept(respond({**head, "layers": layers, "languages": languages, "rules": rules, "silenced": silenced}))


def _in_force(ruleset: RuleSet, rule: Rule) -> dict[str, Any]:
    provenance = {**ruleset.provenance("rule", rule.id, rule.entry), "parameters": ruleset.parameter_origins(rule)}
    return {**rule.written, "title": rule.title, "provenance": provenance}


@routes.get(f"/v1/rules/<{RULE_ID}:name>")
def get_rule(name: str) -> Response:
    """Return one rule as it is in force, with where it comes from; of one that a layer switched off, who did so and why."""
    ruleset = rules_in_force().ruleset
    rules = {rule.id: rule for rule in ruleset.every_rule()}
    if name in rules:
        return kept(respond(_in_force(ruleset, rules[name])))
    change = ruleset.silenced().get(name)
    if change is None:
        abort(404, "no rule of that id is in force")
    detail = f"the layer {change.layer} switched it off: {change.reason}"
    return tagged(problem_response(KINDS["rule-switched-off"], detail, silenced={"id": name, **change.as_dict()}))


@routes.get("/v1/guidelines")
def get_guidelines() -> Response:
    """List the guidelines: limits, categories, sources."""
    guidelines = rules_in_force().ruleset.guidelines.values()
    return kept(respond({"guidelines": [guideline.written for guideline in guidelines]}))


@routes.get("/v1/protocols")
def get_protocols() -> Response:
    """List the averaging protocols."""
    protocols = rules_in_force().ruleset.protocols.values()
    return kept(respond({"protocols": [protocol.written for protocol in protocols]}))


@routes.get("/v1/facts")
def get_facts() -> Response:
    """List the facts a rule may use, those of one's own with where they come from."""
    ruleset = rules_in_force().ruleset
    return kept(respond({"facts": [_fact_written(ruleset, fact) for fact in ruleset.facts.values()]}))


def _fact_written(ruleset: RuleSet, fact: Fact) -> dict[str, Any]:
    keys = ("name", "scope", "kind", "unit", "formula", "meaning", "names")
    written = {key: getattr(fact, key) for key in keys}
    entry = ruleset.entries.get(("fact", fact.name))
    if entry is None:
        return written
    limits = {"range": entry.item.get("range"), "recorded_with": entry.item["recorded_with"]}
    return written | limits | {"sources": entry.item["sources"], "provenance": ruleset.provenance("fact", fact.name, entry)}


@routes.get("/v1/openapi.json")
def get_contract() -> Response:
    """Return the OpenAPI document, to who may read rules with the facts of one's own that those in force declare."""
    return of_program(document_with(rules_in_force().ruleset.own_facts if may_read_rules() else ()))


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
