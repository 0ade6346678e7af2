"""The collector of garbage is off while what stays is made, and does not look through all of it afterwards."""

import gc

import pytest

from heartlevel.collector import collector_off


@pytest.fixture
def looked_through() -> list[dict]:
    """Grows by one with each search for garbage."""
    searches = []

    def note(phase: str, about: dict) -> None:
        if phase == "start":
            searches.append(about)

    gc.collect()
    gc.callbacks.append(note)
    yield searches
    gc.callbacks.remove(note)


def test_what_is_made_meanwhile_is_not_looked_through_then_or_soon_after(looked_through):
    with collector_off():
        kept = [[] for _ in range(100_000)]
        assert not gc.isenabled()
    assert gc.isenabled()
    kept.append([])
    assert looked_through == []
    assert gc.get_freeze_count() == 0
    assert len(gc.get_objects(generation=2)) >= 100_000


def test_a_collector_that_was_off_stays_so_and_what_is_frozen_too():
    gc.freeze()
    gc.disable()
    frozen = gc.get_freeze_count()
    try:
        with collector_off():
            pass
        assert not gc.isenabled()
        gc.enable()
        with collector_off():
            pass
        assert gc.get_freeze_count() >= frozen > 0
    finally:
        gc.enable()
        gc.unfreeze()
