"""What is the same in most tests that load rules is done once in a run: they change one of forty files and load them all.

Sound items are checked once; what rules without layers make of frozen patients and plausible values is found once for
each fingerprint.
"""

import pytest

from heartlevel.intake.fields import Block
from heartlevel.ruling.files import content, layers, loading, wording
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.safeguards import people, values

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


def once_without_layers(function):
    """Return a function of rules that keeps what it returns for those without layers, by their content."""
    kept = {}

    def kept_or_found(rules, *more):
        if rules.ruleset.layers:
            return function(rules, *more)
        key = rules.ruleset.fingerprint
        if key not in kept:
            kept[key] = function(rules, *more)
        return kept[key]

    return kept_or_found


@pytest.fixture(autouse=True, scope="session")
def what_is_the_same_is_done_once():
    with pytest.MonkeyPatch.context() as patch:
        for module in (layers, loading, wording):
            patch.setattr(module, "is_valid", checked_once)
        for module, name in ((people, "answered"), (values, "_assessed")):
            patch.setattr(module, name, once_without_layers(getattr(module, name)))
        yield
