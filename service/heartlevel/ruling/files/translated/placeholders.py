"""What a text shows in braces: a translation shows what its original does, no more and no less."""

import re
from collections.abc import Iterator
from functools import lru_cache
from string import Formatter

from heartlevel.intake.faults import near

SLOT = re.compile(r"\{[^{}]*\}")
PLURAL, NUMBER_IN_FORM, PARAMETER = " plural ", "*", "param"


@lru_cache(maxsize=4096)  # the same text is held against its translations, and under each layer
def placeholders(text: str) -> frozenset[str]:
    """Return what stands in braces in a text: `pulse`, `limit:severe.systolic`, `share:percent`, `param:minutes`.

    The forms of a word that goes with a number are each language's own, and are none unless they show the number.
    Braces that do not pair are another's fault: they hold nothing.
    """
    try:
        parts = list(Formatter().parse(text))
    except ValueError:
        return frozenset()
    return frozenset(filter(None, (_shown(name, style or "") for _, name, style, _ in parts if name is not None)))


def _shown(name: str, style: str) -> str | None:
    before, plural, forms = f" {style.replace(':plural ', ' plural ')} ".partition(PLURAL)
    if plural and NUMBER_IN_FORM not in forms:
        return None
    style = before.strip()
    if name == PARAMETER:  # in whatever style: another language may say a half where this says 50 %
        return f"{name}:{style.partition(':')[0]}"
    return f"{name}:{style}".rstrip(":")


def unlike(text: str, original: str) -> Iterator[tuple[str, str, str, str | None]]:
    """Yield each placeholder that only one of two texts shows: its name, a code, what is wrong, and the near match."""
    ours, theirs = placeholders(text), placeholders(original)
    missing, extra = sorted(theirs - ours), sorted(ours - theirs)
    for name in extra:
        yield name, "extra-placeholder", f"'{{{name}}}' is not in the original", near(name, missing or sorted(theirs))
    for name in missing:
        yield name, "missing-placeholder", f"'{{{name}}}' of the original is not shown", None
