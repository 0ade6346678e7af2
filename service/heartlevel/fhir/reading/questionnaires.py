"""Answers to our Questionnaire, put where the fields are that they tell of."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.issues import WARNING, Issue
from heartlevel.fhir.questionnaire import ADDRESS, GROUPS, NONE_CODE, QUESTIONS
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.filling import Filling
from heartlevel.fhir.reading.sent import Sent
from heartlevel.intake.faults import near
from heartlevel.intake.fields import Items
from heartlevel.tables.fields import TableField


@dataclass(frozen=True, slots=True)
class Told:
    """What a response tells of a field; a list has an element for each of its items."""

    field: TableField
    values: Sequence[Any]
    at: Sequence[str]


@dataclass(frozen=True, slots=True)
class Response:
    """A response: what it tells, and the Observations it was given with; none where it holds for all of the person."""

    resource: Element
    told: Sequence[Told]
    observations: frozenset[str]  # by their places

    def holds_for(self, observation: Element) -> bool:
        """Tell whether it is about an Observation."""
        return not self.observations or observation.at in self.observations

    def fill(self, filling: Filling, part: str) -> None:
        """Put what it tells of a part of the request, unless that is known already."""
        for told in self.told:
            name = ".".join(told.field.path)
            if told.field.part != part or filling.value_of(name) is not None:
                continue
            if isinstance(told.field.declared, Items):
                filling.put(name, [], told.at[0])
                for value, at in zip(told.values, told.at, strict=True):
                    if value != NONE_CODE:
                        filling.add(name, value, at)
            else:
                filling.put(name, told.values[0], told.at[0])

    def tells_of(self, part: str) -> bool:
        """Tell whether it says anything of a part of the request."""
        return any(told.field.part == part for told in self.told)


def is_ours(resource: Element) -> bool:
    """Tell whether a resource is a response to our Questionnaire, of whatever version."""
    answered = resource.part("questionnaire").text or ""
    return resource.kind == "QuestionnaireResponse" and answered.partition("|")[0] == ADDRESS


def responses_of(
    resources: Sequence[Element], observations: Sequence[Element], sent: Sent, codes: Codes
) -> list[Response]:  # fmt: skip
    """Read a person's responses, the latest first; what they say that is no answer here is told in `sent`."""
    derived = _derived_from(observations, sent)
    latest_first = sorted(resources, key=lambda resource: resource.part("authored").text or "", reverse=True)
    responses = []
    for resource in latest_first:
        referred = (sent.referred(reference, resource) for reference in resource.each("partOf"))
        observations_meant = {part.at for part in referred if part is not None} | derived.get(resource.at, set())
        responses.append(Response(resource, list(_told(resource, sent, codes)), frozenset(observations_meant)))
    return responses


def _derived_from(observations: Sequence[Element], sent: Sent) -> Mapping[str, set[str]]:
    """Return, by the place of a response, the Observations that say that they are derived from it."""
    derived: dict[str, set[str]] = {}
    for observation in observations:
        for reference in observation.each("derivedFrom"):
            source = sent.referred(reference, observation)
            if source is not None:
                derived.setdefault(source.at, set()).add(observation.at)
    return derived


def _told(resource: Element, sent: Sent, codes: Codes) -> Iterator[Told]:
    for item in _answered(resource):
        name = item.part("linkId").text or ""
        field = QUESTIONS.get(name)
        if field is None:
            hint = near(name, QUESTIONS)
            text = f"no question has this linkId{f' ({hint})' if hint else ''}"
            sent.issues.append(Issue(WARNING, "not-supported", text, item.part("linkId").at))
            continue
        values = [answer.choice("value") for answer in item.each("answer")]
        yield Told(field, [_value(value, field, codes) for value in values], [value.at for value in values])


def _answered(within: Element) -> Iterator[Element]:
    """Yield the questions that have an answer, in groups or under other answers too."""
    for item in within.each("item"):
        answers = list(item.each("answer"))
        if answers and item.part("linkId").text not in GROUPS:
            yield item
        for inner in (item, *answers):
            yield from _answered(inner)


def _value(answer: Element, field: TableField, codes: Codes) -> Any:
    """Return what an answer says as the field has it; what it cannot take is left as it is, and told of when it is read."""
    if not answer.content:
        return answer.value
    for system, code in answer.codings():
        if answer.part("value").value is None:
            meanings = dict(codes.meanings(system, code))
            return meanings.get(".".join(field.path), code)
    value, unit = answer.part("value").value, answer.part("code").text or answer.part("unit").text
    return value if unit in (None, field.unit) else f"{value} {unit}"
