"""W3C Trace Context (Level 1, Recommendation of 2021): where a request belongs among those of other services.

What is sent is taken over only as far as it is well formed; instead of the rest, and of nothing, a trace begins here.
"""

import re
from dataclasses import dataclass
from secrets import token_hex

TRACEPARENT, TRACESTATE = "traceparent", "tracestate"
# 3.2: version, trace-id, parent-id, flags; more may follow in versions to come alone.
_PARENT = re.compile(r"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?", re.ASCII)
NO_TRACE, NO_PARENT = "0" * 32, "0" * 16
SAMPLED = 0b1  # the one flag that version 00 knows
# 3.3.1: a list of key=value.
_KEY = r"(?:[a-z][a-z0-9_*/-]{0,255}|[a-z0-9][a-z0-9_*/-]{0,240}@[a-z][a-z0-9_*/-]{0,13})"
_MEMBER = re.compile(rf"({_KEY})=([\x20-\x2b\x2d-\x3c\x3e-\x7e]{{0,255}}[\x21-\x2b\x2d-\x3c\x3e-\x7e])", re.ASCII)
MOST_MEMBERS, LONGEST_STATE = 32, 512


@dataclass(frozen=True, slots=True)
class TraceContext:
    """The trace, the caller's span if there is one, ours, and the state that other systems pass along."""

    trace_id: str
    parent_id: str | None
    span_id: str
    flags: int
    state: str

    @property
    def traceparent(self) -> str:
        """What names our span to others."""
        return f"00-{self.trace_id}-{self.span_id}-{self.flags:02x}"


def trace_context(traceparent: str | None, tracestate: str | None) -> TraceContext:
    """Return the context of a request by its two headers; of a header that is malformed nothing is taken over."""
    parent = _PARENT.fullmatch(traceparent) if traceparent else None
    if parent is None or not _is_valid(*parent.groups()):
        return TraceContext(token_hex(16), None, token_hex(8), 0, "")
    state = tracestate if tracestate and _is_state(tracestate) else ""
    return TraceContext(parent[2], parent[3], token_hex(8), int(parent[4], 16) & SAMPLED, state)


def _is_valid(version: str, trace_id: str, parent_id: str, flags: str, more: str | None) -> bool:
    return version != "ff" and not (version == "00" and more) and trace_id != NO_TRACE and parent_id != NO_PARENT


def _is_state(tracestate: str) -> bool:
    members = [member.strip(" \t") for member in tracestate.split(",")]
    matches = [_MEMBER.fullmatch(member) for member in members if member]
    keys = [match[1] for match in matches if match]
    return len(tracestate) <= LONGEST_STATE and 0 < len(matches) <= MOST_MEMBERS and len(set(keys)) == len(matches)
