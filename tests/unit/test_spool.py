"""Answers kept for a client that reads late: all of them in order, or as many as may be kept and the last line."""

import threading
from collections.abc import Iterator
from errno import ENOSPC

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.web.connections import spool
from heartlevel.web.connections.capacity import SMALL, Busy, Capacity, HeldBytes, Most
from heartlevel.web.connections.spool import Kept, kept_until_read

PLENTY = Kept(10**9, 60)


def nothing() -> Iterator[bytes]:
    yield from ()


@given(st.lists(st.binary(min_size=1, max_size=300), max_size=40))
@settings(max_examples=20, deadline=None)
def test_what_is_kept_comes_out_as_it_went_in(answers):
    assert b"".join(kept_until_read(iter(answers), nothing, PLENTY)) == b"".join(answers)


def test_more_than_fits_into_memory_comes_out_too(monkeypatch):
    monkeypatch.setattr(spool, "IN_MEMORY", 100)
    answers = [bytes([number]) * 1000 for number in range(200)]
    assert b"".join(kept_until_read(iter(answers), nothing, PLENTY)) == b"".join(answers)


def test_answers_are_made_while_nobody_reads():
    """A client that sends its whole stream first: the last line is read before the first answer is."""
    all_made = threading.Event()

    def answers() -> Iterator[bytes]:
        yield from [b"a" * 1000] * 100
        all_made.set()

    kept = kept_until_read(answers(), nothing, PLENTY)
    first = next(kept)
    assert all_made.wait(30)
    assert first + b"".join(kept) == b"a" * 100_000


def test_a_stream_that_nobody_reads_ends_with_its_last_words_and_the_rest_is_read_away():
    rest_read = threading.Event()

    def unread() -> Iterator[bytes]:
        yield b"ended"
        rest_read.set()

    kept = kept_until_read(iter([b"a" * 1000] * 100), unread, Kept(5_000, 0.05))
    first = next(kept)
    assert rest_read.wait(30)
    whole = first + b"".join(kept)
    # What was read at first, and what was kept then.
    assert whole.endswith(b"aended") and 5_000 < len(whole) < 2 * 5_000 + 3 * 1_000


def test_a_reader_that_goes_on_is_waited_for():
    kept = kept_until_read(iter([b"a" * 1000] * 500), lambda: iter([b"ended"]), Kept(5_000, 30))
    assert b"".join(kept) == b"a" * 500_000


@pytest.mark.parametrize(("most", "made_before_the_first"), [(10**9, 50), (5_000, 6)])
def test_answers_may_be_held_back_to_the_end_or_as_far_as_they_are_kept(most, made_before_the_first):
    made = []

    def answers() -> Iterator[bytes]:
        for number in range(50):
            made.append(number)
            yield b"a" * 1000

    kept = kept_until_read(answers(), nothing, Kept(most, 30, to_the_end=True))
    first = next(kept)
    assert len(made) >= made_before_the_first
    assert first + b"".join(kept) == b"a" * 50_000


def test_a_reader_that_leaves_ends_the_making_of_answers():
    made = []
    left = threading.Event()

    def answers() -> Iterator[bytes]:
        for number in range(10**6):
            made.append(number)
            yield b"a" * 1000
            left.wait(30)

    kept = kept_until_read(answers(), nothing, PLENTY)
    next(kept)
    kept.close()
    left.set()
    for thread in threading.enumerate():
        if thread.name == "stream":
            thread.join(30)
    assert len(made) < 10


def test_what_is_beyond_the_capacity_is_refused_and_what_has_ended_counts_no_more():
    capacity = Capacity(Most(requests=2, body_bytes=100, unread_bytes=100, streams=1))
    with capacity.of_request(), capacity.of_request(), pytest.raises(Busy), capacity.of_request():
        pass
    first, second = HeldBytes(capacity), HeldBytes(capacity)
    first.grow(SMALL + 60)
    second.grow(SMALL + 40)  # as much of each as is held for every connection counts in no limit
    with pytest.raises(Busy):
        second.grow(1)
    first.release()
    second.release()
    second.release()
    assert (capacity.requests, capacity.body_bytes) == (0, 0)
    read = capacity.take_answer(100)
    with pytest.raises(Busy):
        capacity.take_answer(1)
    read()
    capacity.take_answer(100)
    leave = capacity.take_stream()
    with pytest.raises(Busy):
        capacity.take_stream()
    leave()
    leave()  # counts once
    capacity.take_stream()
    with pytest.raises(Busy):
        capacity.take_stream()


def test_a_full_disk_breaks_the_stream_off_instead_of_ending_it(monkeypatch):
    class Full(spool.SpooledTemporaryFile):
        def write(self, data):
            if self.tell() >= 3_000:
                raise OSError(ENOSPC, "no space left")
            return super().write(data)

    monkeypatch.setattr(spool, "SpooledTemporaryFile", Full)
    kept, read = kept_until_read(iter([b"a" * 1000] * 100), nothing, Kept(10**9, 30, to_the_end=True)), []
    with pytest.raises(OSError, match="no space"):
        read.extend(kept)
    assert b"".join(read) == b"a" * 3_000


def test_the_file_of_a_slow_reader_does_not_grow_with_the_stream(monkeypatch):
    sizes = []

    class Measured(spool.SpooledTemporaryFile):
        def write(self, data):
            sizes.append(self.tell())
            return super().write(data)

    monkeypatch.setattr(spool, "SpooledTemporaryFile", Measured)
    monkeypatch.setattr(spool, "PIECE", 900)  # never all that was written
    assert sum(map(len, kept_until_read(iter([b"a" * 1000] * 300), nothing, Kept(20_000, 30)))) == 300_000
    assert max(sizes) <= 21_000
