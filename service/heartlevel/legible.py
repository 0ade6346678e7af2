"""How urgent what is legible is in requests that cannot be assessed: every reading is looked at as one that was lost."""

from collections.abc import Sequence
from typing import Any

from heartlevel.answer.urgency import urgency_written
from heartlevel.assessment import Rules, assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.intake.bluetooth.expanding import expanded
from heartlevel.intake.envelope import PREGNANCY_BY
from heartlevel.intake.lost import legible_elsewhere, unassessed_readings
from heartlevel.intake.request import MOST_READINGS, Request, empty_request
from heartlevel.intake.texts.json_text import Repeated

NOBODY = {"id": "not-assessed"}


def legible_urgencies(payloads: Sequence[object], rules: Rules) -> list[dict[str, Any]]:
    """Return how urgent what is legible in each payload is, as an answer says it.

    Nothing is known of the person, so the lower of the limits that may hold count.
    """
    if not payloads:
        return []
    conclusions = conclude(assess_requests([_all_lost(payload, rules) for payload in payloads], rules))
    return [urgency_written(conclusions, subject) for subject in range(len(payloads))]


def _all_lost(payload: object, rules: Rules) -> Request:
    request = empty_request(dict(NOBODY), {}, rules.ruleset.choices, None)
    request.unclear = frozenset(PREGNANCY_BY)
    sent = payload.get("readings") if isinstance(payload, dict) else None
    if isinstance(sent, Repeated):
        sent = [item for given in sent.values if isinstance(given, list) for item in given]
    if isinstance(sent, list):
        request.lost = unassessed_readings(expanded(sent).readings[:MOST_READINGS], (), ())
    else:
        request.lost = legible_elsewhere(payload)
    return request
