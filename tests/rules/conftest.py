"""What is the same in most of these tests is done once in a run: they change one of forty files and load them all.

Sound items are checked once, and what shipped rules make of frozen patients and plausible values is found once.
"""

import pytest

from heartlevel.intake.fields import Block
from heartlevel.ruling.files import content, layers, loading, wording
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.safeguards import people, values
from support import rules

SOUND: dict[tuple[type[Block], int], object] = {}  # by the declaration and the identity of an item, which is kept


def checked_once(block: Block, entry: Entry, faults: list[RuleFault]) -> bool:
    """Check an item unless the very same object was found sound before; nothing changes what was read."""
    key = type(block), id(entry.item)
    if key in SOUND and SOUND[key] is entry.item:
        return True
    is_sound = content.is_valid(block, entry, faults)
    if is_sound:
        SOUND[key] = entry.item
    return is_sound


@pytest.fixture(autouse=True, scope="session")
def items_are_checked_once():
    with pytest.MonkeyPatch.context() as patch:
        for module in (layers, loading, wording):
            patch.setattr(module, "is_valid", checked_once)
        yield


def once_for_shipped(function):
    """Return a function of rules that keeps what it returns for the shipped ones, which no test changes."""
    kept = []

    def kept_or_found(of_rules, *more):
        if of_rules is not rules():
            return function(of_rules, *more)
        if not kept:
            kept.append(function(of_rules, *more))
        return kept[0]

    return kept_or_found


@pytest.fixture(autouse=True, scope="session")
def shipped_rules_are_asked_once():
    with pytest.MonkeyPatch.context() as patch:
        for module, name in ((people, "answered"), (values, "_assessed")):
            patch.setattr(module, name, once_for_shipped(getattr(module, name)))
        yield
