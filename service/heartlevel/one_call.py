"""From one request object to its answer: what the HTTP route, the command and Python callers share."""

from typing import Any

from heartlevel.answer.whole import answers
from heartlevel.assessment import Rules, assess
from heartlevel.intake.faults import Problem
from heartlevel.intake.request import RefusedRequest, read


def answer_to(payload: object, rules: Rules) -> dict[str, Any]:
    """Return the answer to one request object.

    Raises RefusedRequest if subject, options or the outer shape are at fault, or, in strict requests, if
    anything is; TooManyReadings if there are more readings than one request may hold.
    """
    request = read(payload, rules.ruleset.choices)
    (answer,) = answers(assess([request], rules))
    if request.strict and answer["problems"]:
        raise RefusedRequest([Problem(**problem) for problem in answer["problems"]])
    return answer
