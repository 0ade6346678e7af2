"""The routes that speak FHIR R4."""

from functools import partial

from flask import Blueprint, Response, after_this_request, request

from heartlevel.answer.whole import as_json
from heartlevel.fhir.call import Answered, FhirAnswers, fhir_answers, told_of_no_bundle
from heartlevel.fhir.issues import OF_NOBODY, Issue, outcome_of
from heartlevel.fhir.names import FHIR_JSON
from heartlevel.fhir.questionnaire import ID as QUESTIONNAIRE_ID
from heartlevel.fhir.questionnaire import questionnaire, questionnaires
from heartlevel.fhir.reading.sent import is_fhir
from heartlevel.report.report import Report, report_of
from heartlevel.web.answering import (
    JSON,
    choose_rules,
    keeper,
    most_readings,
    readings_sent,
    respond,
    rules_in_force,
    tagged,
)
from heartlevel.web.bodies.answered import chosen_by_accept
from heartlevel.web.fhir.written import bundle_response, codes_in_use, now
from heartlevel.web.observing.counters import count_urgency
from heartlevel.web.rules.kept_documents import of_content
from heartlevel.web.written_as_report import HTML, reports_response

fhir_routes = Blueprint("heartlevel-fhir", __name__)
fhir_routes.before_request(choose_rules)


@fhir_routes.post("/v1/fhir/assessments")
def assess_resources() -> Response:
    """Assess each person of a Bundle, or of Parameters."""
    after_this_request(chosen_by_accept)
    payload = readings_sent(FHIR_JSON, JSON)
    if not is_fhir(payload):
        issues, level = told_of_no_bundle(payload, rules_in_force())
        count_urgency(level)
        return outcome_response(422, issues)
    answers = fhir_answers(payload, rules_in_force(), codes_in_use(), most_readings())
    _count_all(answers)
    if not answers.answered:
        return outcome_response(422, list(answers.issues) if answers.refused else [*answers.issues, OF_NOBODY])
    kind = request.accept_mimetypes.best_match([FHIR_JSON, JSON, HTML])
    if kind == HTML:
        return tagged(reports_response([partial(_report, person) for person in answers.answered]))
    if kind == JSON:
        return respond(answers.as_dict())
    return bundle_response(answers.bundle(codes_in_use(), now()))


@fhir_routes.get("/v1/fhir/codes")
def get_codes() -> Response:
    """List the codes that are understood."""
    codes = codes_in_use()
    return of_content("codes", lambda _: {"codes": codes.listed()})


@fhir_routes.get("/v1/fhir/Questionnaire")
def find_questionnaires() -> Response:
    """Return the questions that can be answered beside Observations, as a search."""
    return of_content("questionnaires", lambda rules: questionnaires(rules.ruleset.choices.form), FHIR_JSON)


@fhir_routes.get(f"/v1/fhir/Questionnaire/{QUESTIONNAIRE_ID}")
def get_questionnaire() -> Response:
    """Return the Questionnaire."""
    return of_content("questionnaire", lambda rules: questionnaire(rules.ruleset.choices.form), FHIR_JSON)


def outcome_response(status: int, issues: list[Issue]) -> Response:
    """Return an OperationOutcome."""
    return tagged(Response(as_json(outcome_of(issues)), status, content_type=FHIR_JSON))


def _report(person: Answered) -> Report:
    return report_of(person.conclusions, person.subject, person.answer, rules_in_force())


def _count_all(answers: FhirAnswers) -> None:
    keep = keeper()
    for number, subject in enumerate(answers.answered, start=1):
        keep(subject.answer, person=number)
    for refused in answers.refused:
        if refused.get("urgency"):
            count_urgency(refused["urgency"]["level"])
