"""The outermost object of a request: what in it refuses the whole, and what costs a detail of the person only."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from marshmallow import ValidationError

from heartlevel.intake.faults import Problem, closest, from_messages
from heartlevel.intake.fields import UNREAD, Block, Items, messages
from heartlevel.intake.schema import Envelope, Subject
from heartlevel.intake.screening import Screen

ENVELOPE, SUBJECT = Envelope(), Subject()
SCREEN = Screen(ENVELOPE)
OF_SUBJECT = "/subject/"
# Details of the subject that decide which limits hold: the guideline's for adults, or those of pregnancy.
PREGNANCY_BY = ("pregnant", "days_since_birth")
LIMITS_BY = ("age_years", *PREGNANCY_BY)


@dataclass(frozen=True, slots=True)
class EnvelopeContent:
    """An envelope read. `refusing` are faults that nothing can be judged with, `details` those of the person's details."""

    values: dict[str, Any]
    refusing: list[Problem] = field(default_factory=list)
    details: list[Problem] = field(default_factory=list)


def read_envelope(payload: object) -> EnvelopeContent:
    """Read the outermost object. A bad detail of the subject is left out of it, and never costs the readings."""
    screened = SCREEN.load(payload)
    if screened is not None:
        return EnvelopeContent(screened)
    try:
        return EnvelopeContent(cast(dict[str, Any], ENVELOPE.load(payload)))  # type: ignore[arg-type]
    except ValidationError as error:
        faults, valid = messages(error), error.valid_data
    values = dict(valid) if isinstance(valid, dict) else {}
    of_subject = faults.get("subject")
    if isinstance(of_subject, dict):
        values["subject"] = mark_unread_items(values.get("subject") or {}, of_subject)
    whole = EnvelopeContent(values)
    for one in from_messages(faults, ENVELOPE, payload, ""):
        (whole.details if _is_detail(one) else whole.refusing).append(one)
    return whole


def mark_unread_items(subject: dict[str, Any], faults: Mapping[Any, Any]) -> dict[str, Any]:
    """Add to a list of which a part could not be read what stands for that part: what is in it stays listed."""
    halves = {key for key in faults if isinstance(SUBJECT.fields.get(key), Items)}
    return {key: [*value, UNREAD] if key in halves else value for key, value in subject.items()}


def _is_detail(one: Problem) -> bool:
    """Say whether a problem is about a detail of the subject: anything but who it is."""
    return one.pointer.startswith(OF_SUBJECT) and one.pointer != f"{OF_SUBJECT}id"


def unclear_details(details: Iterable[Problem], within: str = OF_SUBJECT) -> frozenset[str]:
    """Return the details that decide which limits hold and that problems with the subject's details leave unclear.

    A key that is not defined may be any of them misspelt, unless it is near to one of the other details.
    """
    found: set[str] = set()
    for one in details:
        name = one.pointer.removeprefix(within).split("/")[0]
        if name in SUBJECT.fields:
            found |= {name}
        elif one.code == "unknown-key":
            found |= {meant} if (meant := closest(name, SUBJECT.fields)) else set(LIMITS_BY)
    return frozenset(found & set(LIMITS_BY))


def without_partly_read_lists(item: dict[str, Any], faults: Mapping[Any, Any], block: Block) -> dict[str, Any]:
    """Leave a list out of which a part could not be read: what is not in it would count as not listed."""
    return {key: value for key, value in item.items() if not (key in faults and isinstance(block.fields[key], Items))}
