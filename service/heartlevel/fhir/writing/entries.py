"""The entries of a Bundle while it is written: every resource has an address by which the others refer to it."""

from hashlib import blake2b
from re import compile as pattern
from typing import Any
from uuid import UUID, uuid5

FHIR_ID = pattern(r"[A-Za-z0-9.-]{1,64}")


class Entries:
    """Resources with their addresses. The same content in the same order has the same addresses."""

    def __init__(self, content: bytes) -> None:
        """Begin with nothing; addresses are made of the content written about."""
        self._content = UUID(bytes=blake2b(content, digest_size=16).digest())
        self.entries: list[dict[str, Any]] = []

    def add(self, resource: dict[str, Any]) -> dict[str, str]:
        """Add a resource; return a Reference to it."""
        address = uuid5(self._content, str(len(self.entries))).urn
        self.entries.append({"fullUrl": address, "resource": resource})
        return {"reference": address}

    def bundle(self) -> dict[str, Any]:
        """Return the Bundle."""
        return {"resourceType": "Bundle", "type": "collection", "entry": self.entries}


def named(kind: str, name: str, system: str) -> dict[str, Any]:
    """Return a resource with a name of the caller's as its identifier, and as its id where it can be one."""
    own = {"id": name} if FHIR_ID.fullmatch(name) else {}
    return {"resourceType": kind, **own, "identifier": [{"system": system, "value": name}]}


def coded(system: str, code: str, title: str) -> dict[str, Any]:
    """Return a CodeableConcept."""
    return {"coding": [{"system": system, "code": code, "display": title}], "text": title}
