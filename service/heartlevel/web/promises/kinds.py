"""The kinds of problem that are answered (RFC 9457), each with the page that its `type` leads to."""

from collections.abc import Mapping
from dataclasses import dataclass

PAGES = "/v1/problems"


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of problem: what it is called, what it means, and what to do about it."""

    name: str
    status: int
    title: str
    meaning: str
    cure: str

    @property
    def uri(self) -> str:
        """The `type`: a reference that a client resolves against the address it called (RFC 9457, 3.1.1)."""
        return f"{PAGES}/{self.name}" if self.name else "about:blank"

    def as_dict(self) -> dict[str, str | int]:
        """Return it as its page says it."""
        return {"type": self.uri, "status": self.status, "title": self.title, "meaning": self.meaning, "cure": self.cure}


# Of several with one status the first is what it means where nothing more is known.
_EVERY = (
    ProblemKind("not-as-described", 400, "The request is not as described",
         "A part of it that says what is wanted is not there or not known.",
         "Hold it against the description of the operation; `detail` names the part."),
    ProblemKind("not-json", 400, "The body is not JSON",
         "Nothing in it was assessed. Where pressures are legible in it all the same, `urgency` says how urgent they are.",
         "Mend the text at the line and column in `detail`, or send it in the encoding named there."),
    ProblemKind("damaged-body", 400, "The body cannot be decoded",
         "It was sent compressed, and is damaged or cut off. What was legible before the damage is in `urgency`.",
         "Send it again; send it plain if it happens again."),
    ProblemKind("not-trusted", 401, "The client is not trusted",
         "This installation answers only callers that it knows.",
         "Send a key that it knows, or a token that is signed as it asks and has not expired."),
    ProblemKind("not-allowed", 403, "The caller may not do this",
         "The caller is known, and this is not among what it may do; `detail` names what it is.",
         "Ask whoever runs this installation for a key, or a token, with that scope."),
    ProblemKind("not-found", 404, "There is nothing here",
         "No route, and no rule that is in force, has this name.",
         "Look the name up in the list above it, such as /v1/rules, or the path in /v1/openapi.json."),
    ProblemKind("method-not-allowed", 405, "The path is not called this way",
         "The path exists, but not with this method.",
         "Use one of the methods in the header `Allow`."),
    ProblemKind("too-slow", 408, "The request came too slowly",
         "It was not there in time, and nothing of it was assessed.",
         "Send it again, over a better connection or in smaller parts."),
    ProblemKind("rule-switched-off", 410, "The rule is switched off",
         "A layer of this installation switched the rule off; `silenced` says which and why.",
         "Do not wait for its findings; ask whoever keeps the layer."),
    ProblemKind("other-rules", 412, "Other rules are in force",
         "The request is pinned to rules by `If-Match`, and they are not those in force.",
         "Look at what changed, and then pin the rules named in the header `ETag`."),
    ProblemKind("not-prefetched", 412, "Data is missing",
         "The call of the hook came without resources that it needs.",
         "Prefetch what /cds-services lists; `detail` names what is missing."),
    ProblemKind("too-large", 413, "The body is too large",
         "It has more bytes than one body may have, counted as they are once decoded, or more values; `detail` says which.",
         "Send fewer readings at a time, or a stream of lines (application/x-ndjson), each of which may be as long."),
    ProblemKind("too-many-readings", 413, "There are too many readings",
         "One request may hold only so many readings, or resources; `detail` has both numbers. Nothing was assessed.",
         "Send fewer: those of the newest period decide most."),
    ProblemKind("other-media-type", 415, "The media type is another one",
         "The body is of a kind that is not read here.",
         "Send one of the kinds in the header `Accept`, and name it in `Content-Type`."),
    ProblemKind("other-coding", 415, "The coding is another one",
         "The body is compressed in a way that is not understood.",
         "Send it plain, or with one of the codings in the header `Accept-Encoding`."),
    ProblemKind("refused", 422, "The request cannot be assessed",
         "Whom it is about, its options or its outer shape are at fault; or it is strict, and anything is. `problems` has "
         "every fault with its place. What is legible is held against the severe limits; `urgency` says what came of it.",
         "Mend what `problems` names. If `urgent` is true, somebody should look at the readings now."),
    ProblemKind("rules-at-fault", 422, "The rule files have mistakes",
         "The candidate could not be tried.",
         "Mend what `faults` names; each has its file, line, column and cure."),
    ProblemKind("failed", 500, "The service failed",
         "This is a defect of the service. Nothing that was sent is in its log.",
         "Report it with the `request_id`; the same request will probably fail again."),
    ProblemKind("unavailable", 503, "Not at the moment",
         "The service has enough to do, is being stopped, or cannot tell who may call.",
         "Send the same request again after a few seconds; see the header `Retry-After`."),
)  # fmt: skip
KINDS: Mapping[str, ProblemKind] = {kind.name: kind for kind in _EVERY}


def kind_of_status(status: int) -> ProblemKind | None:
    """Return the kind of problem that a status means where nothing more is known; None for one that no kind has."""
    return next((kind for kind in _EVERY if kind.status == status), None)
