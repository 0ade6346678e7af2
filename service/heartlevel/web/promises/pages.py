"""A page for each kind of problem, and what changed in the contract: what a `type` and a deprecation lead to."""

from html import escape

from flask import Blueprint, Response, abort, request

from heartlevel.answer.whole import as_json
from heartlevel.resources import shipped
from heartlevel.web.answering import JSON
from heartlevel.web.promises.kinds import KINDS, PAGES, ProblemKind

HTML = "text/html"
CHANGES = "/v1/changes"
pages = Blueprint("heartlevel-pages", __name__)
PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<title>{title}</title>
<h1>{title}</h1>
<p>Status {status}, <code>{type}</code></p>
<p>{meaning}</p>
<p>{cure}</p>
</html>
"""


@pages.get(PAGES)
def get_kinds() -> Response:
    """List the kinds of problem."""
    return _for_keeping(as_json({"problems": [kind.as_dict() for kind in KINDS.values()]}), JSON)


@pages.get(f"{PAGES}/<name>")
def get_kind(name: str) -> Response:
    """Explain a kind of problem, to a program or to a person."""
    kind = KINDS.get(name) or abort(404, "no kind of problem has that name")
    html = request.accept_mimetypes.best_match([JSON, HTML]) == HTML
    response = _for_keeping(_page(kind), f"{HTML}; charset=utf-8") if html else _for_keeping(as_json(kind.as_dict()), JSON)
    response.vary.add("Accept")
    return response


@pages.get(CHANGES)
def get_changes() -> Response:
    """Return what is promised of the contract, and what changed in it."""
    return _for_keeping((shipped("openapi") / "CHANGELOG.md").read_bytes(), "text/markdown; charset=utf-8")


def _page(kind: ProblemKind) -> bytes:
    return PAGE.format(**{name: escape(str(value)) for name, value in kind.as_dict().items()}).encode()


def _for_keeping(body: bytes, content_type: str) -> Response:
    response = Response(body, content_type=content_type)
    response.add_etag()
    response.make_conditional(request)
    return response
