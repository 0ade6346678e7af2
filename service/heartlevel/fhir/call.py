"""From a Bundle to what is answered: assessed subjects, those that cannot be, and what is to be said of what was sent."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from heartlevel.answer.detail import in_detail
from heartlevel.assessment import Rules, assess_requests
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.fhir.codes import Codes
from heartlevel.fhir.issues import ERROR, STRUCTURE, WARNING, Issue, issue_of, outcome_of
from heartlevel.fhir.limits import refuse_many_people, refuse_too_many
from heartlevel.fhir.reading.subjects import decoded_subjects
from heartlevel.fhir.writing.bundle import bundle_of
from heartlevel.intake.decoding import Decoded
from heartlevel.intake.faults import Problem, problems_read
from heartlevel.intake.request import MOST_READINGS, RefusedRequest, Request, read
from heartlevel.intake.texts.legible_text import legible_id
from heartlevel.legible import legible_urgencies
from heartlevel.one_call import answers_with_others, refusal, unless_refused, whole_answer_to

NO_BUNDLE = Issue(ERROR, STRUCTURE, "send a Bundle or Parameters")


@dataclass(frozen=True, slots=True)
class Answered:
    """A subject of an assessment, with the answer; `origins` lead from the request to what was sent."""

    conclusions: Conclusions
    subject: int
    answer: dict[str, Any]
    origins: Decoded[str]

    @property
    def detail(self) -> str:
        """How much of the answer is written."""
        return self.conclusions.assessment.batch.requests[self.subject].detail


@dataclass(frozen=True, slots=True)
class FhirAnswers:
    """What came of a Bundle."""

    answered: Sequence[Answered]
    refused: Sequence[Mapping[str, Any]]  # what stands in the place of an answer, with the urgency of what is legible
    issues: Sequence[Issue]

    def as_dict(self) -> dict[str, Any]:
        """Return the answers as JSON has them; problems are placed by FHIRPath."""
        answers = [in_detail(_placed(item.answer, item.origins), item.detail) for item in self.answered]
        return {"answers": answers, "refused": list(self.refused), "outcome": outcome_of(self.issues)}

    def bundle(self, codes: Codes, recorded: str | None = None) -> dict[str, Any]:
        """Return the answers as one Bundle; `recorded` as in `bundle_of`."""
        subjects = [(item.conclusions, item.subject, item.answer) for item in self.answered]
        return bundle_of(subjects, self.issues, codes, recorded)


def bundle_for(
    payload: object, rules: Rules, codes: Codes, most_readings: int = MOST_READINGS, recorded: str | None = None
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the answer to one request object as a Bundle, and the answer. Raises what `whole_answer_to` raises."""
    concluded = list[Conclusions]()

    def answer_one(request: Request, rules: Rules) -> dict[str, Any]:
        concluded.append(conclude(assess_requests([request], rules)))
        (answer,) = answers_with_others(concluded[0], rules)
        return answer

    _, answer = whole_answer_to(payload, rules, most_readings, answer_one)
    return bundle_of([(concluded[0], 0, answer)], None, codes, recorded), answer


def fhir_answers(payload: object, rules: Rules, codes: Codes, most_readings: int = MOST_READINGS) -> FhirAnswers:
    """Answer each person of a Bundle or Parameters. Raises TooManyReadings."""
    refuse_too_many(payload)
    content = decoded_subjects(payload, codes, rules.ruleset.choices.form)
    refuse_many_people(len(content.subjects))
    readable, unreadable = list[tuple[Decoded[str], Request]](), list[tuple[Decoded[str], RefusedRequest]]()
    for decoded in content.subjects:
        try:
            readable.append((decoded, read(decoded.request, rules.ruleset.choices, most_readings)))
        except RefusedRequest as error:
            unreadable.append((decoded, error))
    refused, issues = list[Mapping[str, Any]](), list(content.issues)
    urgencies = legible_urgencies([decoded.request for decoded, _ in unreadable], rules)
    for (decoded, why), urgency in zip(unreadable, urgencies, strict=True):
        why.urgency = urgency
        refused.append(_refused(why, decoded, issues))
    answered = list[Answered]()
    for subject, (request, item) in enumerate(_assessed(readable, rules)):
        try:
            unless_refused(request, item.answer)
        except RefusedRequest as error:
            refused.append(_refused(error, item.origins, issues))
            continue
        issues += (_issue(fault, item.origins) for fault in problems_read(item.answer["problems"]))
        answered.append(replace(item, subject=subject))
    return FhirAnswers(answered, refused, _said_once(issues))


def _said_once(issues: Sequence[Issue]) -> list[Issue]:
    """Return what is to be said; that a name is repeated is told where it costs a value, if it costs one."""
    costly = {issue.expression for issue in issues if issue.code == "key-repeated"}
    return [issue for issue in issues if issue.type != STRUCTURE or issue.code or issue.expression not in costly]


def _assessed(readable: Sequence[tuple[Decoded[str], Request]], rules: Rules) -> Iterator[tuple[Request, Answered]]:
    if not readable:
        return
    conclusions = conclude(assess_requests([request for _, request in readable], rules))
    for number, answer in enumerate(answers_with_others(conclusions, rules)):
        decoded, request = readable[number]
        yield request, Answered(conclusions, number, answer, decoded)


def _refused(error: RefusedRequest, decoded: Decoded[str], issues: list[Issue]) -> dict[str, Any]:
    issues += (_issue(fault, decoded, ERROR) for fault in error.problems)
    issues += _urgency_told(error.urgency, decoded.origin_of(""))
    written = refusal(0, error, legible_id(decoded.request)).as_dict()
    del written["line"]
    return _placed(written, decoded)


def told_of_no_bundle(payload: object, rules: Rules) -> tuple[list[Issue], str]:
    """Return what is said of what is neither Bundle nor Parameters, and how urgent what is legible in it is."""
    (urgency,) = legible_urgencies([payload], rules)
    return [NO_BUNDLE, *_urgency_told(urgency, None)], urgency["level"]


def _urgency_told(urgency: Mapping[str, Any] | None, at: str | None) -> Iterator[Issue]:
    if urgency is not None and urgency["level"] != "none":
        yield Issue(WARNING, "informational", urgency["text"], at)


def _issue(fault: Problem, decoded: Decoded[str], severity: str = WARNING) -> Issue:
    return issue_of(fault, decoded.origin_of(fault.pointer), severity)


def _placed(answer: dict[str, Any], decoded: Decoded[str]) -> dict[str, Any]:
    """Return an answer whose problems are placed by FHIRPath."""
    problems = [
        {**fault, "pointer": decoded.origin_of(fault["pointer"]),
         "places": [decoded.origin_of(pointer) for pointer in fault["places"]]}
        for fault in answer["problems"]
    ]  # fmt: skip
    return {**answer, "problems": problems}
