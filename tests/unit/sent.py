"""A good request, changed at one place or several, and what is told of it."""

from typing import Any

import orjson

from heartlevel import RefusedRequest
from support import answer, week

GONE = object()
SECOND = ("readings", 1)
TWELVE = {"id": "d-12", "placement": "upper-arm"}


def good() -> dict:
    """One day at home and nothing wrong with it."""
    payload = week(1, device="d-1", technique={"talking": False}, circumstances=["stress"])
    whole = {**payload, "devices": [{"id": "d-1"}, TWELVE], "device_checks": []}
    return orjson.loads(orjson.dumps(whole))  # nothing in it is shared, so that a change stays where it is made


def changed(*changes: tuple[tuple, Any]) -> dict:
    payload = good()
    for (*way, name), value in changes:
        holder: Any = payload
        for key in way:
            holder = holder[key]
        if value is GONE:
            del holder[name]
        else:
            holder[name] = value
    return payload


def place(*path: Any) -> str:
    return "".join(f"/{key}" for key in path)


def told(payload: dict) -> list[tuple[str, str]]:
    """Return places and codes of everything found wrong, whether or not the request was refused."""
    try:
        return [(at, one["code"]) for one in answer(payload)["problems"] for at in one["places"]]
    except RefusedRequest as refusal:
        return [(one.pointer, one.code) for one in refusal.problems]
