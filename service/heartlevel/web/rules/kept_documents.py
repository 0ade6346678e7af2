"""Documents that are the same for every caller, written once for each rule set."""

from collections.abc import Callable
from hashlib import blake2b
from typing import Any

from flask import Response, current_app

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.web.answering import JSON, kept, rules_in_force

Written = tuple[bytes, str]  # a document, and the hash of it


class KeptDocuments:
    """The documents of the rules that were asked for last, as bytes."""

    def __init__(self) -> None:
        """Begin with none."""
        self._kept: tuple[Rules | None, dict[str, Written]] = None, {}

    def document(self, name: str, rules: Rules, write: Callable[[Rules], Any]) -> Written:
        """Return the document of that name by these rules; `write` returns what is in it."""
        held, written = self._kept
        if held is not rules:
            written = {}
            self._kept = rules, written
        if name not in written:
            text = as_json(write(rules))
            written[name] = text, blake2b(text, digest_size=16).hexdigest()
        return written[name]


def of_rules(name: str, write: Callable[[Rules], Any]) -> Response:
    """Return a document whose ETag names the rules, by which they may be pinned; 304 for who has it."""
    text, _ = _document(name, write)
    return _response(text, rules_in_force().ruleset.fingerprint, JSON)


def of_content(name: str, write: Callable[[Rules], Any], content_type: str = JSON) -> Response:
    """Return a document that other things than the rules change too: its ETag is a hash of it; 304 for who has it."""
    text, tag = _document(name, write)
    return _response(text, tag, content_type)


def _document(name: str, write: Callable[[Rules], Any]) -> Written:
    documents: KeptDocuments = current_app.extensions["heartlevel-documents"]
    return documents.document(name, rules_in_force(), write)


def _response(text: bytes, tag: str, content_type: str) -> Response:
    response = Response(text, content_type=content_type)
    response.set_etag(tag)
    return kept(response)
