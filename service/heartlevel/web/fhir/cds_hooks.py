"""CDS Hooks 2.0: discovery, the service for `patient-view`, and feedback, which is only counted."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, Response, abort, current_app, g, request
from werkzeug.exceptions import PreconditionFailed

from heartlevel.answer.whole import as_json
from heartlevel.fhir.call import FhirAnswers, fhir_answers
from heartlevel.fhir.cards import cards_of, refused_card
from heartlevel.fhir.names import LOINC, PANELS
from heartlevel.web.access.signed_tokens import WrongToken
from heartlevel.web.answering import JSON, choose_rules, keeper, most_readings, readings_sent, respond, rules_in_force
from heartlevel.web.fhir.trusted_clients import TrustedClients
from heartlevel.web.fhir.written import codes_in_use
from heartlevel.web.observing.counters import FEEDBACK, count_urgency
from heartlevel.web.rules.kept_documents import of_content

cds_hooks = Blueprint("heartlevel-cds-hooks", __name__)
cds_hooks.before_request(choose_rules)
SERVICE, HOOK = "blood-pressure", "patient-view"
OF_PATIENT = "patient={{context.patientId}}"
PATIENT, PRESSURES = "patient", "pressures"
PREFETCH = {
    PATIENT: "Patient/{{context.patientId}}",
    PRESSURES: f"Observation?{OF_PATIENT}&code={','.join(f'{LOINC}|{code}' for code in PANELS)}&_sort=-date&_count=500",
    "conditions": f"Condition?{OF_PATIENT}",
    "medicines": f"MedicationStatement?{OF_PATIENT}&status=active",
}
NEEDED = (PATIENT, PRESSURES)
OUTCOMES = ("accepted", "overridden")
ALLOWED = {
    "Access-Control-Allow-Methods": "GET, POST, OPTIONS",
    "Access-Control-Allow-Headers": "Authorization, Content-Type",
    "Access-Control-Max-Age": "3600",
}


def today() -> str:
    """Return the date, in UTC: how long ago something urgent was counts from it, as no client says when it asks."""
    return datetime.now(UTC).date().isoformat()


class NotPrefetched(PreconditionFailed):
    """Resources that the hook needs were not sent."""

    kind = "not-prefetched"


def check_client() -> None:
    """Refuse calls of clients that are not trusted, where it is configured which are, before their bodies are read."""
    trusted: TrustedClients | None = current_app.extensions["heartlevel-trusted"]
    if trusted is None or request.method != "POST" or request.blueprint != cds_hooks.name:
        return
    try:
        g.caller = "client:" + trusted.check(request.headers.get("Authorization"), request.path)
    except WrongToken as error:
        abort(401, str(error))


@cds_hooks.after_request
def allow_origin(response: Response) -> Response:
    """Say to a browser which pages may call (CORS), of those that are configured."""
    origin = request.headers.get("Origin")
    allowed = [name.strip() for name in current_app.config["CDS_ORIGINS"].split(",")]
    if origin and (origin in allowed or "*" in allowed):
        response.headers["Access-Control-Allow-Origin"] = origin
        response.headers.extend(ALLOWED)
    response.vary.add("Origin")
    return response


@cds_hooks.get("/cds-services")
def discover() -> Response:
    """List the one service there is."""
    service = {
        "hook": HOOK, "id": SERVICE, "title": "Blood pressure readings",
        "description": "Averages of blood-pressure readings by a published protocol, and what to do next",
        "prefetch": PREFETCH,
    }  # fmt: skip
    return of_content("cds-services", lambda _: {"services": [service]})


@cds_hooks.post(f"/cds-services/{SERVICE}")
def answer_hook() -> Response:
    """Return the card about the patient whose record is opened."""
    call = _call()
    prefetch = call.get("prefetch")
    sent = prefetch if isinstance(prefetch, dict) else {}
    missing = [name for name in NEEDED if name not in sent or _unusable(sent[name])]
    if missing:
        raise NotPrefetched(f"needs prefetched {' and '.join(missing)}")
    not_sent = [name for name in PREFETCH if name not in sent or _unusable(sent[name])]
    answers = fhir_answers(_parameters(sent), rules_in_force(), codes_in_use(), most_readings())
    return respond({"cards": _cards(answers, not_sent)})


@cds_hooks.post(f"/cds-services/{SERVICE}/feedback")
def take_feedback() -> Response:
    """Count what became of cards; nothing of it is kept."""
    body = _object_sent()
    entries = body.get("feedback")
    listed = entries if isinstance(entries, list) else [None]
    outcomes = [entry.get("outcome") if isinstance(entry, dict) else None for entry in listed]
    if any(outcome not in OUTCOMES for outcome in outcomes):
        abort(400, f"`feedback` is a list of objects whose `outcome` is {' or '.join(OUTCOMES)}")
    for outcome in outcomes:
        FEEDBACK.labels(outcome).inc()
    return Response(as_json({}), content_type=JSON)


def _object_sent() -> dict[str, Any]:
    body = readings_sent(JSON)
    return body if isinstance(body, dict) else abort(400, "send an object")


def _call() -> dict[str, Any]:
    """Return the call of the hook, as far as it is one."""
    call = _object_sent()
    if call.get("hook") != HOOK:
        abort(400, f"the hook of this service is {HOOK}")
    context = call.get("context")
    if not call.get("hookInstance") or not isinstance(context, dict) or not isinstance(context.get("patientId"), str):
        abort(400, "needs `hookInstance` and the context's `patientId`")
    return call


def _unusable(resource: object) -> bool:
    """Tell whether it is no resource, or says why the client could not get it; null says that there is none to get."""
    kind = resource.get("resourceType") if isinstance(resource, Mapping) else None
    return resource is not None and (not isinstance(kind, str) or kind == "OperationOutcome")


def _parameters(sent: Mapping[str, Any]) -> dict[str, Any]:
    resources = [{"name": name, "resource": sent[name]} for name in PREFETCH if isinstance(sent.get(name), dict)]
    options = [{"name": "as_of", "valueDate": today()}]
    setting = current_app.config["CDS_SETTING"]
    if setting:
        options.append({"name": "setting", "valueCode": setting})
    return {"resourceType": "Parameters", "parameter": [*resources, *options]}


def _cards(answers: FhirAnswers, not_sent: list[str]) -> list[dict[str, Any]]:
    cards, keep = [], keeper()
    for item in answers.answered:
        keep(item.answer)
        cards += cards_of(item.answer, not_sent)
    rules = rules_in_force().ruleset
    for refused in answers.refused:
        if refused.get("urgency"):
            count_urgency(refused["urgency"]["level"])
        cards += refused_card(refused, f"{rules.name}, rules {rules.revision}")
    return cards
