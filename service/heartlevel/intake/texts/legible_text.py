"""What is legible of a request whose text is no JSON, cut off or damaged, so that nothing urgent is lost with it."""

from itertools import islice
from re import compile as pattern
from typing import Any

from heartlevel.intake.fields import SURROGATE

MOST_PRESSURES = 5_000
PRESSURE = pattern(rb'"(systolic|diastolic)"\s*:\s*"?([0-9]{1,4}(?:\.[0-9]{1,6})?)(?![0-9])')
ID = pattern(rb'"subject"\s*:\s*\{[^{}]{0,2000}?"id"\s*:\s*"([^"\\]{1,200})"')
LONGEST_ID = 64
UNIT_UNKNOWN = {"unit": "cannot be told"}  # it may stand anywhere in the text


def legible_in(text: bytes) -> dict[str, Any]:
    """Return the id of the subject, and each pressure as a reading of its own, as a request object."""
    # In texts of wider units, every other byte is NUL.
    plain = text.replace(b"\0", b"")
    pressures = islice(PRESSURE.finditer(plain), MOST_PRESSURES)
    readings = [{match[1].decode(): float(match[2]), **UNIT_UNKNOWN} for match in pressures]
    name = ID.search(plain)
    subject = {"id": name[1].decode("utf-8", "surrogateescape")} if name else {}
    return {"subject": subject, "readings": readings}


def legible_id(request: object) -> str | None:
    """Return the id of the subject of a request object that cannot be assessed, if there is one to be read."""
    subject = request.get("subject") if isinstance(request, dict) else None
    name = subject.get("id") if isinstance(subject, dict) else None
    readable = isinstance(name, str) and 0 < len(name) <= LONGEST_ID and not SURROGATE.search(name)
    return name if readable else None
