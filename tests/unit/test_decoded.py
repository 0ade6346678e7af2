"""Compressed bodies: decoded as the standard library does, and what costs much for next to nothing is refused."""

import gzip
from io import BytesIO
from itertools import count

import pytest
from backports import zstd
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.intake.ndjson import BrokenBody
from heartlevel.web.bodies.decoded import MOST_MEMBERS, MOST_WITHOUT_CONTENT, DecodedBody

PACK = {"gzip": gzip.compress, "zstd": zstd.compress}
SKIPPED = b"\x50\x2a\x4d\x18" + (1000).to_bytes(4, "little") + bytes(1000)  # RFC 8878, 3.1.2: a frame without content
ENDLESS_NAME = b"\x1f\x8b\x08\x08" + bytes(6) + b"x" * 60  # RFC 1952, 2.3.1: a name that no NUL ends


def decoded(sent: bytes, coding: str, size: int = 1000) -> bytes:
    body = DecodedBody(BytesIO(sent), coding)
    return b"".join(iter(lambda: body.read(size), b""))


@pytest.mark.parametrize("coding", PACK)
@given(members=st.lists(st.binary(max_size=5_000), min_size=1, max_size=5), size=st.integers(1, 10_000))
@settings(max_examples=30, deadline=None)
def test_members_come_out_as_they_were_packed(coding, members, size):
    assert decoded(b"".join(map(PACK[coding], members)), coding, size) == b"".join(members)


@pytest.mark.parametrize("coding", PACK)
@pytest.mark.parametrize("damage", [lambda packed: b"", lambda packed: packed[:-3], lambda packed: packed + b"rest",
                                    lambda packed: packed[:1] + b"?" + packed[2:]])  # fmt: skip
def test_what_is_damaged_or_cut_off_is_said_to_be(coding, damage):
    with pytest.raises(BrokenBody, match=f"decoded as {coding}"):
        decoded(damage(PACK[coding](bytes(range(256)) * 20)), coding)


@pytest.mark.parametrize("coding", PACK)
def test_members_of_next_to_nothing_are_refused_soon_and_those_of_something_are_not(coding):
    for little in (b"", b"x"):
        with pytest.raises(BrokenBody, match=f"more than {MOST_MEMBERS} members"):
            decoded(PACK[coding](little) * (MOST_MEMBERS + 3), coding)
        assert decoded(PACK[coding](little) * MOST_MEMBERS, coding) == little * MOST_MEMBERS
    line = b"x" * 999 + b"\n"
    assert decoded(PACK[coding](line) * 3 * MOST_MEMBERS, coding) == line * 3 * MOST_MEMBERS


class Endless:
    """Sends a beginning, and then the same again and again."""

    def __init__(self, first: bytes, then: bytes) -> None:
        self.first, self.then, self.sent, self.pieces = first, then, 0, count()

    def read(self, size: int, /) -> bytes:
        piece = self.then if next(self.pieces) else self.first
        self.sent += len(piece)
        return piece


@pytest.mark.parametrize(("coding", "first", "then"), [
    ("gzip", ENDLESS_NAME, b"x" * 1000),
    ("gzip", gzip.compress(b"")[:10], b"\x00\x00\x00\xff\xff" * 200),  # RFC 1951, 3.2.4: stored blocks of no bytes
    ("zstd", SKIPPED, SKIPPED),
])  # fmt: skip
def test_a_body_without_end_that_holds_nothing_is_left(coding, first, then):
    sent = Endless(first, then)
    with pytest.raises(BrokenBody):
        DecodedBody(sent, coding).read(1000)
    assert sent.sent <= MOST_WITHOUT_CONTENT + 2_000
