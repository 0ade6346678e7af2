"""What was sent: the resources of a Bundle or Parameters, found by the references to them, and the options."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from heartlevel.fhir.issues import WARNING, Issue
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.repeated import put_together
from heartlevel.intake.fields import Items
from heartlevel.intake.schema import Options
from heartlevel.intake.texts.json_text import agreed

BUNDLE, PARAMETERS = "Bundle", "Parameters"
SETTING = "setting"  # a parameter: where readings were taken whose Observation does not say it
OPTIONS = Options().fields
DEEPEST = 4  # Bundles within Parameters within Bundles


@dataclass(slots=True)
class Sent:
    """Resources in the order in which they were sent, options, and what is to be said of them."""

    resources: list[Element] = field(default_factory=list)
    by_reference: dict[str, Element] = field(default_factory=dict)
    addresses: dict[str, str] = field(default_factory=dict)  # of resources by their places, where they were sent with one
    options: dict[str, Any] = field(default_factory=dict)
    option_places: dict[str, str] = field(default_factory=dict)
    setting: Element | None = None
    issues: list[Issue] = field(default_factory=list)

    def of_kind(self, *kinds: str) -> Iterator[Element]:
        """Yield the resources of some types."""
        return (resource for resource in self.resources if resource.kind in kinds)

    def referred(self, reference: Element, within: Element) -> Element | None:
        """Return the resource that a Reference means, if it was sent; `within` is the resource that holds the reference."""
        target = reference.part("reference").text
        if target and target.startswith("#"):
            return next((part for part in within.each("contained") if part.part("id").text == target[1:]), None)
        if not target:
            return None
        target = target.partition("/_history/")[0]
        base = self.addresses.get(within.at, "").removesuffix(_relative(self.addresses.get(within.at, "")))
        whole = target if ":" in target else base + target
        return self.by_reference.get(whole) or self._by_type_and_id(target)

    def _by_type_and_id(self, target: str) -> Element | None:
        """Return the resource of a type and id; an absolute reference means none that has another address."""
        resource = self.by_reference.get(_relative(target))
        elsewhere = ":" in target and resource is not None and self.addresses.get(resource.at, target) != target
        return None if elsewhere else resource


def is_fhir(payload: object) -> bool:
    """Tell whether what was sent is a Bundle or Parameters."""
    return isinstance(payload, Mapping) and agreed(payload.get("resourceType")) in (BUNDLE, PARAMETERS)


def sent_resources(payload: object) -> Sent:
    """Take what was sent apart. Nothing is checked that is not needed to find the resources."""
    payload, repeated = put_together(payload)
    sent = Sent(issues=repeated)
    root = Element(payload, str(payload.get("resourceType")) if isinstance(payload, Mapping) else "")
    _take(sent, root, None, 0)
    return sent


def _take(sent: Sent, resource: Element, full_url: str | None, depth: int) -> None:
    if depth < DEEPEST and resource.kind == BUNDLE:
        for entry in resource.each("entry"):
            for inner in entry.part("resource").versions():
                _take(sent, inner, entry.part("fullUrl").text, depth + 1)
    elif depth < DEEPEST and resource.kind == PARAMETERS:
        for parameter in resource.each("parameter"):
            _take_parameter(sent, parameter, depth + 1)
    elif resource.kind is None:
        sent.issues.append(Issue(WARNING, "structure", "there is no resource here", resource.at))
    else:
        sent.resources.append(resource)
        name = resource.part("id").text
        if full_url and "/" in full_url:
            sent.addresses[resource.at] = full_url
        for reference in (full_url, f"{resource.kind}/{name}" if name else None):
            if reference:
                sent.by_reference.setdefault(reference, resource)


def _take_parameter(sent: Sent, parameter: Element, depth: int) -> None:
    resources = [resource for resource in parameter.part("resource").versions() if resource.content]
    for resource in resources:
        _take(sent, resource, None, depth)
    if not resources:
        _take_option(sent, parameter)


def _take_option(sent: Sent, parameter: Element) -> None:
    name, value = parameter.part("name").text, parameter.choice("value")
    if name == SETTING:
        sent.setting = value
    elif name in OPTIONS and isinstance(OPTIONS[name], Items):
        sent.options.setdefault(name, []).append(value.value)
        sent.option_places.setdefault(name, value.at)
    elif name in OPTIONS:
        sent.options[name], sent.option_places[name] = value.value, value.at
    else:
        sent.issues.append(Issue(WARNING, "not-supported", "no parameter of that name is defined here", parameter.at))


def _relative(reference: str) -> str:
    """Return type and id of a reference."""
    return "/".join(reference.split("/")[-2:])
