"""Frozen patients: people with something urgent, who get as urgent an answer under any layers, and the same first step."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import orjson

from heartlevel.assessment import Rules
from heartlevel.intake.request import Request, read
from heartlevel.one_call import answer_requests
from heartlevel.resources import shipped
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.safety.places import place_of_layers
from heartlevel.vocabulary import URGENCY_LEVELS

FILE = "safety/people.ndjson"  # among the shipped rules


@dataclass(frozen=True, slots=True)
class Patient:
    """A request, and the least that its answer may say."""

    id: str
    request: Mapping[str, Any]
    level: str  # of URGENCY_LEVELS
    first_step: str | None  # key of the wording's next steps


def patients() -> list[Patient]:
    """Return the frozen patients."""
    lines = (shipped("rules") / FILE).read_bytes().splitlines()
    return [Patient(item["id"], _request(item), **item["expect"]) for item in map(orjson.loads, lines)]


def _request(item: Mapping[str, Any]) -> Mapping[str, Any]:
    request = item["request"]
    return {**request, "subject": {"id": item["id"], **request.get("subject", {})}}


def answered(rules: Rules, asked: Sequence[Patient]) -> list[tuple[str, str | None]]:
    """Return how urgent the answer of each patient is, and its first step."""
    requests: list[Request] = [read(patient.request, rules.ruleset.choices) for patient in asked]
    return [(answer["urgency"]["level"], _first_step(answer)) for answer in answer_requests(requests, rules)]


def _first_step(answer: Mapping[str, Any]) -> str | None:
    urgent = {finding["id"] for finding in answer["findings"] if finding["urgent"]}
    return next((step["code"] for step in answer["next_steps"] if urgent & set(step["because"])), None)


def worse_off(below: Rules, rules: Rules) -> Iterator[RuleFault]:
    """Yield a fault for each patient whose answer is less urgent under layers, or begins with another step.

    A patient to whom the rules below give less already (a directory of one's own may) is to get no less than that.
    """
    asked, (top, at) = patients(), place_of_layers(rules.ruleset)
    for patient, before, after in zip(asked, answered(below, asked), answered(rules, asked), strict=True):
        level, step = max((patient.level, patient.first_step), before, key=_lateness)
        if _lateness(after) > _lateness((level, step)):
            yield top.fault(at, "less-urgent", f"the patient '{patient.id}' would be '{after[0]}', not '{level}'")
        elif after[1] != step:
            detail = f"the first step of the patient '{patient.id}' would be '{after[1]}', not '{step}'"
            yield top.fault(at, "less-urgent", detail)


def _lateness(answer: tuple[str, str | None]) -> int:
    return URGENCY_LEVELS.index(answer[0])
