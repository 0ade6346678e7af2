"""What is legible of a request whose text is no JSON, cut off or damaged, so that nothing urgent is lost with it."""

from itertools import islice
from re import DOTALL
from re import compile as pattern
from typing import Any

from heartlevel.intake.fields import SURROGATE
from heartlevel.vocabulary import PRESSURE_CODES

MOST_PRESSURES = 5_000
NUMBER = rb'["\']?([0-9]{1,4}(?:\.[0-9]{1,6})?)(?![0-9])'
PRESSURE = pattern(rb'["\']?\b(systolic|diastolic)\b["\']?\s*[:=]\s*' + NUMBER)
# In FHIR a code says which pressure it is, and the number follows; between them is no other of the codes.
CODES = "|".join(PRESSURE_CODES).encode()
CODED = pattern(rb'"(%b)"(?:(?!"(?:%b)").){0,600}?"value[A-Za-z]*"\s*:\s*%b' % (CODES, CODES, NUMBER), DOTALL)
PAYLOAD = pattern(rb'"payload"\s*:\s*"([0-9A-Za-z+/=:\s-]{8,200})"')  # bytes of a device
ID = pattern(rb'"subject"\s*:\s*\{[^{}]{0,2000}?"id"\s*:\s*"([^"\\]{1,200})"')
# What decides how urgent a pressure is: the text of symptoms up to where a list of them ends, and what is so of the person.
TEXT_OF_SYMPTOMS = pattern(rb'symptoms?["\']?\s*[:=]\s*(\[[^\]]{0,2000}|["\'][^"\']{0,200})')
DETAIL = pattern(rb'\b(pregnant|fainting|days_since_birth)["\']?\s*[:=]\s*["\']?(true|yes|[0-9]{1,3})\b')
MOST_TEXTS = 100
LONGEST_ID = 64
UNIT_UNKNOWN = {"unit": "cannot be told"}  # it may stand anywhere in the text


def legible_in(text: bytes) -> dict[str, Any]:
    """Return the subject, and each pressure as a reading of its own, as a request object; of FHIR, too.

    Of the subject its id, and as texts what decides how urgent a pressure is.
    """
    # In texts of wider units, every other byte is NUL.
    plain = text.replace(b"\0", b"")
    numbers = [(match[1].decode(), match[2]) for match in islice(PRESSURE.finditer(plain), MOST_PRESSURES)]
    numbers += [(PRESSURE_CODES[match[1].decode()], match[2]) for match in islice(CODED.finditer(plain), MOST_PRESSURES)]
    readings: list[dict[str, Any]] = [{name: float(number), **UNIT_UNKNOWN} for name, number in numbers]
    readings += [{"payload": match[1].decode()} for match in islice(PAYLOAD.finditer(plain), MOST_PRESSURES)]
    name = ID.search(plain)
    subject: dict[str, Any] = {"id": name[1].decode("utf-8", "surrogateescape")} if name else {}
    symptoms = [match[1].decode("utf-8", "replace") for match in islice(TEXT_OF_SYMPTOMS.finditer(plain), MOST_TEXTS)]
    details = {match[1].decode(): match[2].decode() for match in islice(DETAIL.finditer(plain), MOST_TEXTS)}
    return {"subject": subject | details | ({"symptoms": symptoms} if symptoms else {}), "readings": readings}


def legible_id(request: object) -> str | None:
    """Return the id of the subject of a request object that cannot be assessed, if there is one to be read."""
    subject = request.get("subject") if isinstance(request, dict) else None
    name = subject.get("id") if isinstance(subject, dict) else None
    readable = isinstance(name, str) and 0 < len(name) <= LONGEST_ID and not SURROGATE.search(name)
    return name if readable else None
