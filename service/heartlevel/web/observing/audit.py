"""The audit log: who asked what kind of thing, when, by which rules, and what came of it; nothing that was sent.

What was decided is in the log of decisions, under the same request id.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
from flask import g, request

from heartlevel.decisions.lines import KeptLines
from heartlevel.web.access.guard import FROM_PROBES, NOBODY_KNOWN
from heartlevel.web.access.scopes import scope_needed

TO_STANDARD_OUTPUT = "-"
DENIED = (401, 403)


class AuditLog:
    """Keeps a line for each request that is not open to all; none where no place for them is set."""

    def __init__(self, where: str | None, on_loss: Callable[[int], None]) -> None:
        """Take a path, or `-` for standard output. Raises LinesNotKept."""
        path = Path(where) if where and where != TO_STANDARD_OUTPUT else None
        self._kept = KeptLines(path, "lines of the audit log", on_loss) if where else None

    def entry(self, method: str, route: str, status: int) -> dict[str, Any] | None:
        """Return what is kept of the request that is being answered; None of one that is not audited."""
        if self._kept is None or request.url_rule is None or request.environ.get(FROM_PROBES):
            return None
        if (asked := scope_needed(route, method)) is None:
            return None
        rules = g.get("rules")
        return {
            "time": datetime.now(UTC).isoformat(timespec="milliseconds"),
            "request": g.request_id,
            "trace": g.trace.trace_id,
            "caller": g.get("caller", NOBODY_KNOWN),
            "asked": asked,
            "method": method,
            "route": route,
            "fingerprint": rules.ruleset.fingerprint if rules is not None else None,
            "status": status,
            "outcome": outcome_of_status(status),
        }

    def write(self, entry: dict[str, Any] | None) -> None:
        """Keep an entry; what cannot be written is counted, and said once."""
        if self._kept is not None and entry is not None:
            self._kept.write(orjson.dumps(entry) + b"\n", 1)


def outcome_of_status(status: int) -> str:
    """Return what came of a request that was answered with a status."""
    if status < 400:
        return "answered"
    if status in DENIED:
        return "denied"
    return "failed" if status >= 500 else "refused"
