"""What the compiled loops were compiled from, so that older ones are not taken for them. Imports nothing of the package."""

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

COMPILED_FROM = "compiled-from"  # a file beside the loops, with the digest of what they were compiled from


def loops(folder: Path) -> list[Path]:
    """Return the modules that are compiled, those with their types beside them."""
    return [types.with_suffix(".py") for types in sorted(folder.glob("*.pxd"))]


def digest_of_loops(folder: Path) -> str:
    """Return the SHA-256 of all loops and their types, in hexadecimal."""
    return sha256(b"\0".join(path.read_bytes() for path in _files(folder))).hexdigest()


def _files(folder: Path) -> Iterator[Path]:
    for loop in loops(folder):
        yield from (loop, loop.with_suffix(".pxd"))
