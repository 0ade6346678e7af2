"""How urgent what is legible is in requests that cannot be assessed: readings that can be read, and parts of others."""

from collections.abc import Sequence
from typing import Any

from heartlevel.answer.urgency import urgency_written
from heartlevel.assessment import Rules, assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.bluetooth.expanding import expanded
from heartlevel.intake.envelope import PREGNANCY_BY
from heartlevel.intake.lost import legible_elsewhere, unassessed_readings
from heartlevel.intake.moments import timed_readings
from heartlevel.intake.own.form import Form
from heartlevel.intake.request import MOST_READINGS, Request, empty_request, items_of
from heartlevel.intake.texts.json_text import Repeated
from heartlevel.intake.texts.legible_person import legible_person

NOBODY = {"id": "not-assessed"}


def legible_urgencies(payloads: Sequence[object], rules: Rules) -> list[dict[str, Any]]:
    """Return how urgent what is legible in each payload is, as an answer says it.

    Of the person only what is legible is known: the lower of the limits that may hold count.
    """
    if not payloads:
        return []
    conclusions = conclude(assess_requests([_legible_request(payload, rules) for payload in payloads], rules))
    return [urgency_written(conclusions, subject) for subject in range(len(payloads))]


def _legible_request(payload: object, rules: Rules) -> Request:
    sent = payload.get("readings") if isinstance(payload, dict) else None
    if isinstance(sent, Repeated):
        sent = [item for given in sent.values if isinstance(given, list) for item in given]
    beside = {**payload, "readings": None} if isinstance(payload, dict) and isinstance(sent, list) else payload
    request = empty_request(NOBODY | legible_person(beside), {}, rules.ruleset.choices, None)
    request.unclear = frozenset(PREGNANCY_BY)
    if isinstance(sent, list):
        _add_readings(request, expanded(sent).readings[:MOST_READINGS], rules.ruleset.choices.form)
    else:
        request.lost = legible_elsewhere(payload)
    return request


def _add_readings(request: Request, sent: list[Any], form: Form) -> None:
    """Add the readings that can be assessed, and what is legible of the others; a time without its zone is none."""
    kept, _ = items_of(sent, "readings", form)
    request.readings, _ = timed_readings(kept, None)
    request.lost = unassessed_readings(sent, {reading.index for reading in request.readings}, (), kept)
