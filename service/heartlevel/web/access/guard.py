"""Every request is held against what its caller may do, before anything of it is read."""

import logging

from flask import Flask, Response, current_app, g, request

from heartlevel.web.access.keys import MARK, KeyFile, WrongKeyFile
from heartlevel.web.access.scopes import SCOPES, scope_needed
from heartlevel.web.access.signed_tokens import IssuedTokens, WrongToken, bearer_of
from heartlevel.web.problems import problem_response
from heartlevel.web.promises.kinds import KINDS

LOG = logging.getLogger("heartlevel")
# Set by the listener of probes, which only those reach who run the service.
FROM_PROBES = "heartlevel.from_probes"
NOBODY_KNOWN = "unknown"


class Guard:
    """Keys, tokens, both, or neither: then all is open."""

    def __init__(self, keys: KeyFile | None, tokens: IssuedTokens | None) -> None:
        """Take what callers are known by."""
        self._keys, self._tokens = keys, tokens

    @property
    def is_open(self) -> bool:
        """Nobody needs to be known."""
        return self._keys is None and self._tokens is None

    def caller(self, authorization: str) -> tuple[str, tuple[str, ...]]:
        """Return who sent a header, named by an id or a hash, and what they may do.

        Raises WrongToken, whose text holds nothing of what was sent.
        """
        credential = bearer_of(authorization, "a key or a token")
        if self._keys is not None and credential.startswith(f"{MARK}_"):
            key = self._keys.owner(credential)
            if key is None:
                raise WrongToken("the key is not known")
            return f"key:{key.id}", key.scopes
        if self._tokens is None:
            raise WrongToken("the key is not known")
        subject, scopes = self._tokens.caller(credential)
        return f"token:{subject}", scopes


def may_read_rules() -> bool:
    """Say whether the caller of a route that is open to all may also read what a clinic has laid down.

    An installation without keys is open; its own listener of probes is for those who run it.
    """
    guard: Guard = current_app.extensions["heartlevel-guard"]
    if guard.is_open or request.environ.get(FROM_PROBES):
        return True
    try:
        _, allowed = guard.caller(request.headers.get("Authorization", ""))
    except (WrongToken, WrongKeyFile, OSError):
        return False
    return "rules-read" in allowed


def guard_requests(app: Flask) -> None:
    """Have every request of the application guarded."""
    app.before_request(_check)


def _check() -> Response | None:
    guard: Guard = current_app.extensions["heartlevel-guard"]
    if guard.is_open or request.url_rule is None or request.environ.get(FROM_PROBES):
        return None
    route = request.url_rule.rule
    needed = scope_needed(route, request.method)
    if needed is None or _signs_by_itself(route):
        return None
    try:
        g.caller, allowed = guard.caller(request.headers.get("Authorization", ""))
    except (WrongKeyFile, OSError) as error:  # changed while the service runs: nobody is let in
        LOG.error("%s who may call cannot be told: %s", g.request_id, type(error).__name__)
        return problem_response(KINDS["unavailable"], "who may call cannot be told at the moment")
    except WrongToken as error:
        LOG.info("%s access refused: %s", g.request_id, error)
        response = problem_response(KINDS["not-trusted"], str(error))
        response.headers["WWW-Authenticate"] = "Bearer"
        return response
    if needed in allowed:
        return None
    LOG.info("%s access refused: %s is not among what the caller may do", g.request_id, needed)
    return problem_response(KINDS["not-allowed"], f"this needs to be allowed: {needed} ({SCOPES[needed]})")


def _signs_by_itself(route: str) -> bool:
    """Clients of CDS Hooks sign their requests, where it is configured which are trusted."""
    return route.startswith("/cds-services") and current_app.extensions["heartlevel-trusted"] is not None
