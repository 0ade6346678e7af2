"""The page to try the service out, and the reference made of the contract: text without data, served from here alone."""

from functools import cache
from typing import Any

import orjson
from flask import Blueprint, Response, abort, current_app, request

from heartlevel.handouts.rendering import own_style, templates_of
from heartlevel.resources import shipped
from heartlevel.ruling.tools.own_schema import document_with

STATIC = shipped("web/tryout/static")
HTML, SCRIPT, STYLE, LINES = (f"{kind}; charset=utf-8" for kind in (
    "text/html", "text/javascript", "text/css", "application/x-ndjson"))  # fmt: skip
FILES = {
    "tryout.js": (STATIC / "tryout.js", SCRIPT),
    "playground.js": (STATIC / "playground.js", SCRIPT),
    "tryout.css": (STATIC / "tryout.css", STYLE),
    "style.css": (shipped("handouts/templates") / "style.css", STYLE),
    "demo.ndjson": (shipped("demo") / "harbour-lane.ndjson", LINES),
}
REFERENCE = "reference"
# Nothing is loaded from elsewhere, no script stands in a page and no style but that of reports, which are shown in a frame
# that runs nothing; no other page may frame it.
POLICY = (
    f"default-src 'none'; script-src 'self'; style-src 'self' {own_style()}; connect-src 'self'; img-src 'self' data:; "
    "frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
site = Blueprint("heartlevel-tryout", __name__)


@site.before_request
def is_switched_on() -> None:
    """Answer 404 where the page is switched off."""
    if not current_app.config["TRYOUT"]:
        abort(404, "the page to try the service out is switched off here")


@site.get("/")
def get_page() -> Response:
    """Return the page."""
    return _guarded((STATIC / "index.html").read_bytes(), HTML)


@site.get("/try/<name>")
def get_part(name: str) -> Response:
    """Return a part of the page, the invented people or the reference."""
    if name == REFERENCE:
        return _guarded(_reference(), HTML)
    path, kind = FILES.get(name) or abort(404, "the page has no part of that name")
    return _guarded(path.read_bytes(), kind)


def _guarded(body: bytes, content_type: str) -> Response:
    response = Response(body, content_type=content_type)
    response.headers |= {"Content-Security-Policy": POLICY, "X-Content-Type-Options": "nosniff",
                         "Referrer-Policy": "no-referrer"}  # fmt: skip
    response.add_etag()
    response.make_conditional(request)
    return response


@cache
def _reference() -> bytes:
    """Write the shipped contract as a page; what a clinic's rules add to it is in /v1/openapi.json."""
    environment = templates_of("heartlevel.web.tryout")
    environment.filters["kind"] = _kind
    document = orjson.loads(document_with(()))
    return environment.get_template("reference.html").render(document=document).encode()


def _kind(schema: dict[str, Any]) -> str:
    """Say of a schema in a few words what kind of value it describes."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    for combined in ("oneOf", "anyOf", "allOf"):
        if combined in schema:
            return " or ".join(dict.fromkeys(_kind(part) for part in schema[combined]))
    if "enum" in schema:
        return "one of: " + ", ".join(map(str, schema["enum"]))
    if "const" in schema:
        return str(schema["const"])
    kinds = schema.get("type", "any")
    words = " or ".join(kinds) if isinstance(kinds, list) else str(kinds)
    return f"{words} of {_kind(schema['items'])}" if "items" in schema else words
