"""From request objects to answers: what the HTTP routes, the command and Python callers share."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeAlias

import orjson

from heartlevel.answer.compared import other_guidelines, under_others
from heartlevel.answer.whole import answers, device_answers
from heartlevel.assessment import Rules, assess_requests
from heartlevel.intake.device_checks import read_checks
from heartlevel.intake.faults import Problem
from heartlevel.intake.ndjson import LONGEST_LINE, LineTooLong
from heartlevel.intake.request import MOST_READINGS, RefusedRequest, Request, TooManyReadings, read

# Subjects of a stream assessed in one go: enough to share the work, few enough to answer soon.
TOGETHER = 32
# The same where nobody waits for the first answer.
TOGETHER_IN_BULK = 256
Lines: TypeAlias = Iterable[tuple[int, bytes | LineTooLong]]  # numbered


def answer_alone(request: Request, rules: Rules) -> dict[str, Any]:
    """Return the answer to one request."""
    (answer,) = answered([request], rules)
    return answer


def answer_to(
    payload: object,
    rules: Rules,
    most_readings: int = MOST_READINGS,
    answer_one: Callable[[Request, Rules], dict[str, Any]] = answer_alone,
) -> dict[str, Any]:
    """Return the answer to one request object. `answer_one` may assess it together with others.

    Raises RefusedRequest if options, the outer shape or the subject's name are at fault, or, in strict requests, if
    anything is; TooManyReadings if there are more readings than one request may hold.
    """
    request = read(payload, rules.ruleset.choices, most_readings)
    answer = answer_one(request, rules)
    refused = _refused_if_strict(request, answer)
    if refused:
        raise refused
    return answer


def answered(requests: Sequence[Request], rules: Rules) -> Iterator[dict[str, Any]]:
    """Yield each request's answer, with what other guidelines make of it where it asks for them."""
    if not requests:
        return
    # Each is followed by what others make of it, so that no answer waits in memory for those after it.
    found = answers(assess_requests([one for request in requests for one in (request, *under_others(request))], rules))
    for request in requests:
        answer = next(found)
        answer["other_guidelines"] = other_guidelines(answer, list(islice(found, len(request.also_under))))
        yield answer


def device_answer_to(payload: object, rules: Rules) -> dict[str, Any]:
    """Return the answer to device checks sent without readings.

    Raises RefusedRequest if options or the outer shape are at fault, or, in strict requests, if anything is.
    """
    request = read_checks(payload, rules.ruleset.choices)
    (answer,) = device_answers(assess_requests([request], rules))
    refused = _refused_if_strict(request, answer)
    if refused:
        raise refused
    return answer


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one line of a stream: an answer, or why there is none."""

    line: int
    answer: dict[str, Any] | None = None
    detail: str = ""
    code: str = ""  # of what is wrong with the line as a whole
    problems: tuple[Problem, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the answer, or what stands in its place."""
        if self.answer is not None:
            return self.answer
        return {"line": self.line, "detail": self.detail, "problems": [one.as_dict() for one in self.problems]}


def in_turn(lines: Lines, together: int = TOGETHER) -> Iterator[list[tuple[int, bytes | LineTooLong]]]:
    """Yield the lines a few at a time, as many as are assessed together."""
    waiting = iter(lines)
    while some := list(islice(waiting, together)):
        yield some


def answer_each(
    lines: Lines, rules: Rules, most_readings: int = MOST_READINGS, together: int = TOGETHER
) -> Iterator[Outcome]:
    """Answer every numbered line in its place; a line that cannot be assessed costs no other.

    `together` lines are read before the first of them is answered; how many changes no answer.
    """
    for some in in_turn(lines, together):
        read_ones = [understood(number, line, rules, most_readings) for number, line in some]
        requests = [one for one in read_ones if isinstance(one, Request)]
        found = zip(requests, answered(requests, rules), strict=True)
        for (number, _), one in zip(some, read_ones, strict=True):
            yield one if isinstance(one, Outcome) else _outcome(number, *next(found))


def understood(
    number: int, line: bytes | LineTooLong, rules: Rules, most_readings: int = MOST_READINGS
) -> Request | Outcome:
    """Return a line's request or, if it cannot be assessed, what stands in its place."""
    if isinstance(line, LineTooLong):
        return Outcome(number, detail=f"the line is longer than {LONGEST_LINE} bytes", code="line-too-long")
    try:
        return read(orjson.loads(line), rules.ruleset.choices, most_readings)
    except orjson.JSONDecodeError as error:
        return Outcome(number, detail=f"not JSON: column {error.colno}", code="not-json")
    except TooManyReadings as error:
        return Outcome(number, detail=str(error), code="too-many-readings")
    except RefusedRequest as error:
        return Outcome(number, detail=str(error), code="refused", problems=tuple(error.problems))


def _outcome(number: int, request: Request, answer: dict[str, Any]) -> Outcome:
    refused = _refused_if_strict(request, answer)
    if refused:
        return Outcome(number, detail=str(refused), code="refused", problems=tuple(refused.problems))
    return Outcome(number, answer)


def _refused_if_strict(request: Request, answer: dict[str, Any]) -> RefusedRequest | None:
    if request.strict and answer["problems"]:
        return RefusedRequest([Problem(**problem) for problem in answer["problems"]])
    return None
