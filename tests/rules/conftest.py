"""Sound items of a rule file are checked once in a run: most of these tests change one of forty files and load them all."""

import pytest

from heartlevel.intake.fields import Block
from heartlevel.ruling.files import content, layers, loading, wording
from heartlevel.ruling.language.faults import Entry, RuleFault

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
