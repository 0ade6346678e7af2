"""What tells whether rule files have changed: their bytes, not their times."""

from collections.abc import Iterator, Sequence
from hashlib import sha256
from pathlib import Path
from typing import TypeAlias

from heartlevel.resources import shipped
from heartlevel.ruling.files.directories.listing import listing_of
from heartlevel.ruling.files.directories.reading import NotRead, bytes_of_file

LARGEST_LOOKED_AT = 64 * 1024 * 1024

Stamp: TypeAlias = tuple[tuple[str, str], ...]  # the path of each file, and a hash of its bytes


def stamp_of(folder: Path | None, layers: Sequence[Path]) -> Stamp:
    """Return what tells whether any rule file has other content, was added or removed: of their bytes, not their times."""
    directories = (folder or shipped("rules"), *layers)
    return tuple((str(path), _digest(path)) for directory in directories for path in _files(directory))


def _files(directory: Path) -> Iterator[Path]:
    yield from [directory] if directory.is_file() else listing_of(directory).files.values()


def _digest(path: Path) -> str:
    try:
        return sha256(bytes_of_file(path, LARGEST_LOOKED_AT)).hexdigest()
    except NotRead as error:  # what is wrong with it is told by who loads it
        return error.code
