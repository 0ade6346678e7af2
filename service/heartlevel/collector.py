"""Python's search for garbage, put off while many objects are made that stay."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_off() -> Iterator[None]:
    """Have Python search for no garbage meanwhile: among a hundred thousand new objects it would often search in vain.

    Afterwards they count as old: the next search would else be through all of them.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            if not gc.get_freeze_count():  # else somebody else's would be let go
                gc.freeze()
                gc.unfreeze()
            gc.enable()
