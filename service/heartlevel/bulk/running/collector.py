"""The garbage collector while parts are judged: rules stay, and what an assessment leaves behind holds no circles."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

# So many more objects made than let go of before it looks for circles: more than the answers of a part are made of.
SELDOM = 100_000


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Have the collector pass over what there is, and look seldom at what is made; afterwards all is as it was."""
    before, frozen = gc.get_threshold(), gc.get_freeze_count()
    gc.freeze()
    gc.set_threshold(SELDOM, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
        if not frozen:  # else somebody else's stay so too
            gc.unfreeze()
