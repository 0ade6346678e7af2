"""What a wire format is decoded to: a request object, and where each of its parts stands in what was sent.

A decoder is a module that yields `Decoded`, one a request, and `Undecodable` in the place of a text that is none.
`intake.request.read` takes the object; the pointer of each problem it returns leads back to what was sent by `origin_of`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Origin = TypeVar("Origin")


@dataclass(frozen=True, slots=True)
class Remark:
    """What is to be said of what was sent beside the faults of a request: where it stands there, and no value."""

    code: str
    at: str | None
    text: str


@dataclass(frozen=True, slots=True)
class Decoded(Generic[Origin]):
    """A request object, unchecked, and where its parts stand in what was sent.

    `origins` maps JSON Pointers (RFC 6901) into `request` to places in what was sent, whatever names a place there: line
    and column of a table, a pointer into another document. "" is the whole request.
    """

    request: object
    origins: Mapping[str, Origin] = field(default_factory=dict)
    size: int = 0  # bytes of its text, where there is one of its own
    remarks: Sequence[Remark] = ()

    def origin_of(self, pointer: str) -> Origin | None:
        """Return the place of what a pointer means or else of the nearest part around it; None if no part has one."""
        while pointer and pointer not in self.origins:
            pointer = pointer.rpartition("/")[0]
        return self.origins.get(pointer)


@dataclass(frozen=True, slots=True)
class Undecodable(Generic[Origin]):
    """Stands in the place of a request that cannot be decoded; `detail` says why and holds no value.

    `legible` is what can be made out of it all the same, as a request object.
    """

    origin: Origin
    code: str
    detail: str
    legible: object = None
    size: int = 0  # bytes of its text, as far as it is held
    remarks: Sequence[Remark] = ()

    def origin_of(self, pointer: str) -> Origin:
        """Return the place of the request: it has no parts."""
        return self.origin
