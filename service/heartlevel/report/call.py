"""From one request object to its report."""

from typing import Any

from heartlevel.assessment import Rules, assess_requests
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.intake.request import MOST_READINGS, Request
from heartlevel.one_call import answers_with_others, whole_answer_to
from heartlevel.report.report import Report, report_of


def report_for(payload: object, rules: Rules, most_readings: int = MOST_READINGS) -> tuple[Report, dict[str, Any]]:
    """Return the report on a request object's subject, and the answer. Raises as `whole_answer_to` and `report_of` do."""
    concluded: list[Conclusions] = []

    def answer_one(request: Request, rules: Rules) -> dict[str, Any]:
        concluded.append(conclude(assess_requests([request], rules)))
        (answer,) = answers_with_others(concluded[0], rules)
        return answer

    _, answer = whole_answer_to(payload, rules, most_readings, answer_one)
    return report_of(concluded[0], 0, answer, rules), answer
