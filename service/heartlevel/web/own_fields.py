"""The OpenAPI document as it is served: with the facts of one's own that the rules in force declare."""

from functools import lru_cache

import orjson

from heartlevel.intake.own.facts import OwnFact
from heartlevel.resources import shipped
from heartlevel.ruling.tools.own_schema import requests_with


@lru_cache(maxsize=4)
def document_with(own: tuple[OwnFact, ...]) -> bytes:
    """Return the document as JSON; without facts of one's own, as it is shipped."""
    written = (shipped("openapi") / "openapi.json").read_bytes()
    return orjson.dumps(requests_with(orjson.loads(written), own)) if own else written
