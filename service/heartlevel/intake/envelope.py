"""The outermost object of a request: which faults refuse all of it, and which only lose a detail of the subject."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from marshmallow import ValidationError

from heartlevel.intake.blocks.oversized import TOO_MANY_NAMES, cut_to_size
from heartlevel.intake.faults import Problem, closest, from_messages
from heartlevel.intake.fields import UNREAD, Block, Items, messages
from heartlevel.intake.own.form import Form
from heartlevel.intake.schema import Subject
from heartlevel.intake.texts.legible_person import may_decide, with_legible

SUBJECT = Subject()
OF_SUBJECT = "/subject/"
# Details of the subject that decide which limits hold: the guideline's for adults, or those of pregnancy.
PREGNANCY_BY = ("pregnant", "days_since_birth")
LIMITS_BY = ("age_years", *PREGNANCY_BY)


@dataclass(frozen=True, slots=True)
class EnvelopeContent:
    """What an envelope says, the faults that refuse the request, and those that only lose a detail of the subject."""

    values: dict[str, Any]
    refusing: list[Problem] = field(default_factory=list)
    details: list[Problem] = field(default_factory=list)
    unclear: frozenset[str] = frozenset()  # details that decide which limits hold and could not be read


def read_envelope(payload: object, form: Form) -> EnvelopeContent:
    """Read the outermost object. A bad detail of the subject is left out of it, and never costs the readings."""
    screened = form.screen.load(payload)
    if screened is not None:
        return EnvelopeContent(screened)
    payload, left_out = cut_to_size(payload, form.envelope, "")
    try:
        return EnvelopeContent(cast(dict[str, Any], form.envelope.load(payload)))
    except ValidationError as error:
        faults, valid = messages(error), error.valid_data
    values = dict(valid) if isinstance(valid, dict) else {}
    subject_faults, sent = faults.get("subject"), payload.get("subject") if isinstance(payload, dict) else None
    if isinstance(subject_faults, dict):
        subject = mark_unread_items(values.get("subject") or {}, subject_faults)
        values["subject"] = with_legible(subject, sent, subject_faults) if isinstance(sent, dict) else subject
    problems = [*from_messages(faults, form.envelope, payload, ""), *left_out]
    details = [problem for problem in problems if _is_detail(problem)]
    refusing = [problem for problem in problems if not _is_detail(problem)]
    unclear = unclear_details(details, sent if isinstance(sent, dict) else {}, form.subject.fields)
    return EnvelopeContent(values, refusing, details, unclear)


def mark_unread_items(subject: dict[str, Any], faults: Mapping[Any, Any]) -> dict[str, Any]:
    """Add UNREAD to the subject's lists that have faulty items: of what is not in them it is then unknown whether it is."""
    partly_read = {key for key in faults if isinstance(SUBJECT.fields.get(key), Items)}
    return {key: [*value, UNREAD] if key in partly_read else value for key, value in subject.items()}


def _is_detail(problem: Problem) -> bool:
    """Return whether a problem concerns a detail of the subject: anything but its id."""
    if problem.code == TOO_MANY_NAMES:
        return f"{problem.pointer}/" == OF_SUBJECT
    return problem.pointer.startswith(OF_SUBJECT) and problem.pointer != f"{OF_SUBJECT}id"


def unclear_details(
    details: Iterable[Problem], sent: Mapping[str, Any], known: Collection[str] = SUBJECT.fields, within: str = OF_SUBJECT
) -> frozenset[str]:
    """Return those of LIMITS_BY, the details that decide which limits hold, that the problems leave unclear.

    An unknown key may be any of them misspelt, unless it is near to another detail that is `known`, or what was `sent`
    under it could say none of them: a sex or a name.
    """
    unclear: set[str] = set()
    for problem in details:
        name = problem.pointer.removeprefix(within).split("/")[0]
        if name in known:
            unclear |= {name}
        elif problem.code == TOO_MANY_NAMES:
            unclear |= set(LIMITS_BY)
        elif problem.code == "unknown-key" and (meant := closest(name, known)):
            unclear |= {meant}
        elif problem.code == "unknown-key" and may_decide(sent.get(name, True)):
            unclear |= set(LIMITS_BY)
    return frozenset(unclear & set(LIMITS_BY))


def without_partly_read_lists(item: dict[str, Any], faults: Mapping[Any, Any], block: Block) -> dict[str, Any]:
    """Leave out the lists with faulty items: what they no longer hold would count as not listed.

    A list that may be read partly keeps the others, and UNREAD.
    """
    lists = {key: field for key in faults if isinstance(field := block.fields.get(key), Items)}
    whole = {key: value for key, value in item.items() if key not in lists}
    return whole | {key: [*item.get(key, ()), UNREAD] for key, field in lists.items() if field.partly}
