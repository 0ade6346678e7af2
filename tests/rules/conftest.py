"""A rule file of the same bytes is read once in a run, and its sound items are checked once: most of these tests change
one of some forty files and load them all.
"""

from pathlib import Path

import pytest

from heartlevel.intake.fields import Block
from heartlevel.ruling.files import content, layers, loading, wording
from heartlevel.ruling.files.source import LONGEST_FILE, SourceFile
from heartlevel.ruling.language.faults import Entry, RuleFault

READ: dict[tuple[bytes, str, bool], SourceFile] = {}
SOUND: dict[tuple[type[Block], int], object] = {}  # by the declaration and the identity of an item, which is kept


def read_once(path: Path, shown_as: str, layered: bool = False) -> SourceFile:
    """Read a file unless it was read before; what was read is never changed. Files with faults are read each time."""
    if not path.is_file() or path.stat().st_size > LONGEST_FILE:
        return SourceFile(path, shown_as, layered)
    key = path.read_bytes(), shown_as, layered
    file = READ.get(key) or SourceFile(path, shown_as, layered)
    if not file.faults:
        READ[key] = file
    return file


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
def files_are_read_once():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(content, "SourceFile", read_once)
        for module in (layers, loading, wording):
            patch.setattr(module, "is_valid", checked_once)
        yield
