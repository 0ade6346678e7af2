"""What FHIR has no element or code for, as parts of our own extension."""

from collections.abc import Iterator, Mapping
from typing import Any

from heartlevel.fhir.names import OWN_DETAILS
from heartlevel.fhir.reading.filling import NONE_OF


def own_details(kind: str, values: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the extension with values by their dotted names; none where there is nothing to carry."""
    parts = [part for name, value in flattened(values) for part in _parts(name, value)]
    return [{"url": OWN_DETAILS[kind], "extension": parts}] if parts else []


def flattened(values: Mapping[str, Any], outer: str = "") -> Iterator[tuple[str, Any]]:
    """Yield values that are known by their dotted names."""
    for name, value in values.items():
        if isinstance(value, Mapping):
            yield from flattened(value, f"{outer}{name}.")
        elif value is not None:
            yield f"{outer}{name}", value


def _parts(name: str, value: Any) -> Iterator[dict[str, Any]]:
    match value:
        case bool():
            yield {"url": name, "valueBoolean": value}
        case int() | float():
            yield {"url": name, "valueDecimal": value}
        case str():
            yield {"url": name, "valueString": value}
        case []:
            yield {"url": name + NONE_OF, "valueBoolean": True}
        case _:
            for item in value:
                yield from _parts(name, item)
