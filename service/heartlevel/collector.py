"""Python's search for garbage, put off while many objects are made that stay."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_off() -> Iterator[None]:
    """Have Python search for no garbage meanwhile: among a hundred thousand new objects it would often search in vain."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
