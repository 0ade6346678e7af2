"""What the routes share: the rules of a request, what was sent, and answers that name the rules they were made with."""

from collections.abc import Callable
from functools import partial
from typing import Any, cast

from flask import Response, current_app, g, request

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.decisions.decided import decided_in
from heartlevel.decisions.log import DecisionLog
from heartlevel.intake.texts.json_text import UnreadableText, parsed_json
from heartlevel.intake.texts.legible_text import legible_in
from heartlevel.one_call import urgency_in
from heartlevel.web.bodies.sent import OtherMediaType, sent
from heartlevel.web.connections.streams import NDJSON
from heartlevel.web.observing.counters import count_assessed
from heartlevel.web.problems import problem_response
from heartlevel.web.promises.kinds import KINDS
from heartlevel.web.rules.reloading import RulesInForce

JSON = "application/json"


def in_force() -> RulesInForce:
    """Return the application's rules and what became of changes to their files."""
    return cast(RulesInForce, current_app.extensions["heartlevel"])


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


def tagged(response: Response) -> Response:
    """Name the rules in a response's ETag (RFC 9110, 8.8.3)."""
    response.set_etag(rules_in_force().ruleset.fingerprint)
    return response


def kept(response: Response) -> Response:
    """Answer 304 where the caller has the same already, by its ETag (If-None-Match)."""
    return cast(Response, response.make_conditional(request))


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
