"""Answers as FHIR resources, for whichever route is asked for them."""

from datetime import UTC, datetime
from typing import Any, cast

from flask import Response, current_app, g

from heartlevel.answer.whole import as_json
from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import FHIR_JSON


def codes_in_use() -> Codes:
    """Return the codes that this application understands."""
    return cast(Codes, current_app.extensions["heartlevel-fhir-codes"])


def now() -> str:
    """Return the instant, which a Provenance is to tell."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def bundle_response(bundle: dict[str, Any]) -> Response:
    """Return a Bundle that names the rules it was made with in its ETag."""
    response = Response(as_json(bundle), content_type=FHIR_JSON)
    response.set_etag(g.rules.ruleset.fingerprint)
    return response
