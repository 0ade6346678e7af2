"""The routes of the service. No arithmetic and no clinical knowledge here."""

from collections.abc import Iterator
from typing import Any, cast

import orjson
from flask import Blueprint, Response, abort, current_app, request

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.one_call import answer_to
from heartlevel.version import VERSION
from heartlevel.web.observability import count_answer, metrics

JSON, NDJSON = "application/json", "application/x-ndjson"
routes = Blueprint("heartlevel", __name__)
routes.add_url_rule("/metrics", view_func=metrics, methods=["GET"])


def rules_in_force() -> Rules:
    """Return the rules this application answers with."""
    return cast(Rules, current_app.extensions["heartlevel"])


def respond(body: Any, status: int = 200) -> Response:
    """Return a JSON response that names the rules it was made with."""
    response = Response(as_json(body), status, content_type=JSON)
    response.set_etag(rules_in_force().ruleset.fingerprint)
    return response


def parsed(raw: bytes) -> Any:
    """Parse JSON strictly: no NaN, no Infinity, valid UTF-8. Raises 400 without quoting the data."""
    try:
        return orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        abort(400, f"not JSON: line {error.lineno}, column {error.colno}")


@routes.post("/v1/assessments")
def assessments() -> Response:
    """Assess one subject (JSON) or one a line (NDJSON)."""
    if request.mimetype == NDJSON:
        lines = [line for line in request.get_data().splitlines() if line.strip()]
        return Response(_line_by_line(lines, rules_in_force()), content_type=NDJSON)
    if request.mimetype != JSON:
        abort(415, f"send {JSON} or {NDJSON}")
    answer = answer_to(parsed(request.get_data()), rules_in_force())
    _count(answer)
    return respond(answer)


def _count(answer: dict[str, Any]) -> None:
    count_answer(len(answer["readings"]), [finding["rule"] for finding in answer["findings"]])


def _line_by_line(lines: list[bytes], rules: Rules) -> Iterator[bytes]:
    """Answer each line in its place; a line that cannot be assessed is answered with its problems."""
    for number, line in enumerate(lines, start=1):
        try:
            answer = answer_to(orjson.loads(line), rules)
            _count(answer)
            yield as_json(answer) + b"\n"
        except orjson.JSONDecodeError as error:
            yield _refusal(number, f"not JSON: column {error.colno}", [])
        except TooManyReadings as error:
            yield _refusal(number, str(error), [])
        except RefusedRequest as error:
            yield _refusal(number, str(error), [problem.as_dict() for problem in error.problems])


def _refusal(number: int, detail: str, problems: list[dict[str, Any]]) -> bytes:
    return orjson.dumps({"line": number, "detail": detail, "problems": problems}) + b"\n"


@routes.get("/v1/rules")
def rules() -> Response:
    """List the rules in force."""
    ruleset = rules_in_force().ruleset
    head = {"name": ruleset.name, "revision": ruleset.revision, "fingerprint": ruleset.fingerprint}
    return respond({**head, "rules": [rule.written for rule in ruleset.every_rule()]})


@routes.get("/v1/rules/<name>")
def rule(name: str) -> Response:
    """Return one rule as it stands in its file."""
    found = [one for one in rules_in_force().ruleset.every_rule() if one.id == name]
    return respond(found[0].written) if found else abort(404, "no rule of that id is in force")


@routes.get("/v1/guidelines")
def guidelines() -> Response:
    """List the guidelines: limits, categories, sources."""
    return respond({"guidelines": [one.written for one in rules_in_force().ruleset.guidelines.values()]})


@routes.get("/v1/protocols")
def protocols() -> Response:
    """List the averaging protocols."""
    return respond({"protocols": [one.written for one in rules_in_force().ruleset.protocols.values()]})


@routes.get("/v1/facts")
def facts() -> Response:
    """List the facts a rule may use."""
    keys = ("name", "scope", "kind", "unit", "formula", "meaning", "names")
    return respond({"facts": [{key: getattr(one, key) for key in keys} for one in CATALOGUE.values()]})


@routes.get("/health")
def health() -> Response:
    """Say that the process answers."""
    return respond({"status": "up", "service": VERSION})


@routes.get("/ready")
def ready() -> Response:
    """Say with which rules requests are answered."""
    ruleset = rules_in_force().ruleset
    return respond({"status": "ready", "rules": {"revision": ruleset.revision, "fingerprint": ruleset.fingerprint}})
