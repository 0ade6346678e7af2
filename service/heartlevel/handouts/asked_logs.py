"""Logs as they are asked for: blank by options alone, or for a person by a request with readings or without."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.handouts.log_sheet import LogSheet, log_sheet
from heartlevel.intake.request import MOST_READINGS, empty_request, read_options
from heartlevel.one_call import whole_answer_to


def blank_log(options: Mapping[str, Any], rules: Rules, days: int | None = None, first_day: date | None = None) -> LogSheet:
    """Return the log of a protocol, for nobody in particular. `options` are those of a request.

    Raises RefusedRequest where an option is at fault.
    """
    known, _, as_of = read_options(dict(options), rules.ruleset.choices)
    request = empty_request({}, known, rules.ruleset.choices, as_of)
    return log_sheet(rules, request, days, first_day, known.get("time_zone"))


def log_for(
    payload: object,
    rules: Rules,
    days: int | None = None,
    first_day: date | None = None,
    most_readings: int = MOST_READINGS,
) -> LogSheet:
    """Return the log for the person of a request: limits are theirs, and what was done wrong or not recorded is asked.

    Raises as `whole_answer_to` does.
    """
    request, answer = whole_answer_to(payload, rules, most_readings)
    assert isinstance(payload, dict)  # or it would have been refused
    time_zone = (payload.get("options") or {}).get("time_zone")
    return log_sheet(rules, request, days, first_day, time_zone, answer)
