"""From request objects to answers: what the HTTP routes, the command and Python callers share."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any, TypeAlias

from heartlevel.answer.compared import other_guidelines, under_others
from heartlevel.answer.detail import in_detail
from heartlevel.answer.urgency import is_urgent
from heartlevel.answer.whole import answers, device_answers, written_answers
from heartlevel.assessment import Rules, assess_requests
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.intake.decoding import Decoded, Undecodable
from heartlevel.intake.device_checks import read_checks
from heartlevel.intake.faults import Problem, problems_read, problems_written
from heartlevel.intake.ndjson import DecodedLine
from heartlevel.intake.request import MOST_READINGS, RefusedRequest, Request, TooManyReadings, read
from heartlevel.intake.texts.legible_text import legible_id
from heartlevel.legible import legible_urgencies
from heartlevel.vocabulary import IN_FULL

# Subjects of a stream assessed in one go: enough to share the work, few enough to answer soon.
TOGETHER = 32
# The same where nobody waits for the first answer.
TOGETHER_IN_BULK = 256
# Bytes of text: with as many no more are read first, since all is held, and nobody else answered meanwhile.
MOST_BYTES_TOGETHER = 512 * 1024
REFUSED = "refused"
Sent: TypeAlias = Decoded[Any] | Undecodable[Any]


def answer_alone(request: Request, rules: Rules) -> dict[str, Any]:
    """Return the answer to one request."""
    (answer,) = answer_requests([request], rules)
    return answer


def answer_to(
    payload: object,
    rules: Rules,
    most_readings: int = MOST_READINGS,
    answer_one: Callable[[Request, Rules], dict[str, Any]] = answer_alone,
) -> dict[str, Any]:
    """Return the answer to one request object, in the detail it asks for. Raises as `whole_answer_to` does."""
    request, answer = whole_answer_to(payload, rules, most_readings, answer_one)
    return in_detail(answer, request.detail)


def whole_answer_to(
    payload: object,
    rules: Rules,
    most_readings: int = MOST_READINGS,
    answer_one: Callable[[Request, Rules], dict[str, Any]] = answer_alone,
) -> tuple[Request, dict[str, Any]]:
    """Return one request as it was read, and all of its answer. `answer_one` may assess it together with others.

    Raises RefusedRequest if options, the outer shape or the subject's name are at fault, or, in strict requests, if
    anything is; TooManyReadings if there are more readings than one request may hold.
    """
    try:
        request = read(payload, rules.ruleset.choices, most_readings)
    except RefusedRequest as error:
        (error.urgency,) = legible_urgencies([payload], rules)
        raise
    return request, unless_refused(request, answer_one(request, rules))


def answer_requests(requests: Sequence[Request], rules: Rules) -> Iterator[dict[str, Any]]:
    """Yield each request's answer, with what other guidelines make of it where it asks for them."""
    if requests:
        yield from answers_with_others(conclude(assess_requests(requests, rules)), rules)


def answers_with_others(conclusions: Conclusions, rules: Rules) -> Iterator[dict[str, Any]]:
    """Yield one answer a subject, with what other guidelines make of it where its request asks for them."""
    requests = conclusions.assessment.batch.requests
    asked = [same for request in requests for same in under_others(request)]
    others = answers(assess_requests(asked, rules)) if asked else iter(())
    for request, answer in zip(requests, written_answers(conclusions), strict=True):
        answer["other_guidelines"] = other_guidelines(answer, list(islice(others, len(request.also_under))))
        yield answer


def device_answer_to(payload: object, rules: Rules) -> dict[str, Any]:
    """Return the answer to device checks sent without readings.

    Raises RefusedRequest if options or the outer shape are at fault, or, in strict requests, if anything is.
    """
    request = read_checks(payload, rules.ruleset.choices)
    (answer,) = device_answers(assess_requests([request], rules))
    return unless_refused(request, answer)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one request of a stream: an answer, or why there is none."""

    line: int
    answer: dict[str, Any] | None = None
    detail: str = ""
    code: str = ""  # of what is wrong with the request as a whole
    problems: tuple[Problem, ...] = ()
    urgency: Mapping[str, Any] | None = None  # of what is legible in a request that is refused
    subject: str | None = None  # whom a request that is refused is about, if that is legible
    level: str = IN_FULL  # how much of the answer is written

    @property
    def urgent(self) -> bool:
        """Whether what is legible in a refused request may need help."""
        return self.urgency is not None and is_urgent(self.urgency)

    def as_dict(self) -> dict[str, Any]:
        """Return the answer in the detail asked for, or what stands in its place."""
        if self.answer is not None:
            return in_detail(self.answer, self.level)
        problems = problems_written(self.problems)
        more = {} if self.urgency is None else {"urgent": self.urgent, "urgency": self.urgency}
        subject = None if self.subject is None else {"id": self.subject}
        return {"line": self.line, "subject": subject, "detail": self.detail, "problems": problems, **more}


def answer_decoded(
    decoded: Iterable[DecodedLine], rules: Rules, most_readings: int = MOST_READINGS, together: int = TOGETHER
) -> Iterator[Outcome]:
    """Answer every request in its place; one that cannot be assessed costs no other.

    `together` of them are read before the first is answered; how many changes no answer.
    """
    for batch in in_batches(decoded, together):
        yield from answer_read(batch, read_batch(batch, rules, most_readings), rules)


def read_batch(batch: Sequence[Sent], rules: Rules, most_readings: int = MOST_READINGS) -> list[Request | Outcome]:
    """Read requests that stand in a stream, as `read_together` does."""
    return read_together([(line_of(sent), sent) for sent in batch], rules, most_readings)


def answer_read(batch: Sequence[Sent], read_ones: Sequence[Request | Outcome], rules: Rules) -> Iterator[Outcome]:
    """Answer what `read_batch` read, in order."""
    requests = [request for request in read_ones if isinstance(request, Request)]
    answered = zip(requests, answer_requests(requests, rules), strict=True)
    for sent, request in zip(batch, read_ones, strict=True):
        yield request if isinstance(request, Outcome) else _outcome(line_of(sent), *next(answered))


def in_batches(decoded: Iterable[DecodedLine], together: int = TOGETHER) -> Iterator[list[DecodedLine]]:
    """Yield requests a few at a time, as many as are assessed together; fewer of those that are long."""
    batch, size = list[DecodedLine](), 0
    for sent in decoded:
        batch.append(sent)
        size += sent.size
        if len(batch) == together or size >= MOST_BYTES_TOGETHER:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


def line_of(decoded: Sent) -> int:
    """Return the line that a request begins on."""
    line: int = decoded.origin if isinstance(decoded, Undecodable) else decoded.origins[""]
    return line


def read_decoded(line: int, decoded: Sent, rules: Rules, most_readings: int = MOST_READINGS) -> Request | Outcome:
    """Read a request or, if it cannot be assessed, return what stands in its place."""
    (request,) = read_together([(line, decoded)], rules, most_readings)
    return request


def read_together(
    sent: Sequence[tuple[int, Sent]], rules: Rules, most_readings: int = MOST_READINGS
) -> list[Request | Outcome]:
    """Read requests, given with their lines; return what stands in the place of those that cannot be assessed.

    What is legible of all these is looked at in one go: it costs hardly more than for one.
    """
    read_ones = [_read(line, decoded, rules, most_readings) for line, decoded in sent]
    legible = {
        number: payload
        for number, ((_, decoded), request) in enumerate(zip(sent, read_ones, strict=True))
        if isinstance(request, Outcome) and (payload := _legible_of(decoded, request)) is not None
    }
    for number, urgency in zip(legible, legible_urgencies(list(legible.values()), rules), strict=True):
        outcome = read_ones[number]
        assert isinstance(outcome, Outcome)
        read_ones[number] = replace(outcome, urgency=urgency)
    return read_ones


def _read(line: int, decoded: Sent, rules: Rules, most_readings: int) -> Request | Outcome:
    """Read a request; what stands in the place of one that is refused does not yet say how urgent it is."""
    if isinstance(decoded, Undecodable):
        return Outcome(line, detail=decoded.detail, code=decoded.code, subject=legible_id(decoded.legible))
    subject = legible_id(decoded.request)
    try:
        return read(decoded.request, rules.ruleset.choices, most_readings)
    except TooManyReadings as error:
        return Outcome(line, detail=str(error), code="too-many-readings", subject=subject)
    except RefusedRequest as error:
        return refusal(line, error, subject)


def _legible_of(decoded: Sent, outcome: Outcome) -> object:
    """Return what is looked at for urgency in place of a request; None for nothing."""
    if isinstance(decoded, Decoded):
        return decoded.request if outcome.code == REFUSED else None
    return decoded.legible if has_pressures(decoded.legible) else None


def urgency_in(legible: object, rules: Rules) -> dict[str, Any] | None:
    """Return how urgent what is legible of a text that is no JSON is; None where no pressure is."""
    if not has_pressures(legible):
        return None
    (urgency,) = legible_urgencies([legible], rules)
    return urgency


def has_pressures(legible: object) -> bool:
    """Tell whether any pressure is legible of a text that is no JSON; of other JSON, whether there is anything in it."""
    return bool(legible.get("readings", legible) if isinstance(legible, dict) else legible)


def refusal(line: int, error: RefusedRequest, subject: str | None) -> Outcome:
    """Return what stands in the place of a request that is refused."""
    problems = tuple(error.problems)
    return Outcome(line, None, str(error), REFUSED, problems, error.urgency, subject)


def _outcome(line: int, request: Request, answer: dict[str, Any]) -> Outcome:
    try:
        return Outcome(line, unless_refused(request, answer), level=request.detail)
    except RefusedRequest as error:
        return refusal(line, error, request.subject["id"])


def unless_refused(request: Request, answer: dict[str, Any]) -> dict[str, Any]:
    """Return the answer. Raises RefusedRequest if the request is strict and anything in it is at fault."""
    if request.strict and answer["problems"]:
        raise RefusedRequest(list(problems_read(answer["problems"])), answer.get("urgency"))
    return answer
