"""A rule file of the same bytes is read once in a run: most of these tests change one of some forty and load them all."""

from pathlib import Path

import pytest

from heartlevel.ruling.files import content
from heartlevel.ruling.files.source import LONGEST_FILE, SourceFile

READ: dict[tuple[bytes, str, bool], SourceFile] = {}


def read_once(path: Path, shown_as: str, layered: bool = False) -> SourceFile:
    """Read a file unless it was read before; what was read is never changed. Files with faults are read each time."""
    if not path.is_file() or path.stat().st_size > LONGEST_FILE:
        return SourceFile(path, shown_as, layered)
    key = path.read_bytes(), shown_as, layered
    file = READ.get(key) or SourceFile(path, shown_as, layered)
    if not file.faults:
        READ[key] = file
    return file


@pytest.fixture(autouse=True, scope="session")
def files_are_read_once():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(content, "SourceFile", read_once)
        yield
