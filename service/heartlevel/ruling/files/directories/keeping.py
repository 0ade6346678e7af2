"""What was made of rule files, kept in the user's cache folder: of many processes only the first reads and checks the same.

A file holds what one state of the rule files was made into by one state of this package, and is named after both: what is
kept is never out of date. It holds Python objects, which are code: a file that another user owns or can write is not read.
Where nothing can be kept, rules are loaded each time.
"""

import os
import pickle
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from stat import S_IWGRP, S_IWOTH
from tempfile import NamedTemporaryFile
from typing import Any, TypeVar

from heartlevel.collector import collector_off
from heartlevel.resources import shipped
from heartlevel.ruling.files.directories.stamps import Stamp, stamp_of

MOST_KEPT = 16
ENDING = ".rules"
LIBRARIES = ("marshmallow", "numpy", "pyyaml")  # that rules are read by, or hold objects of
PACKAGE = Path(__file__).parents[3]
DIGEST_SIZE = sha256().digest_size
Kept = TypeVar("Kept")


def kept_or_made(folder: Path | None, layers: Sequence[Path], stamp: Stamp, make: Callable[[], Kept]) -> Kept:
    """Return what `make` returns for a directory and its layers: as it was kept or, where it was not, made and then kept.

    `stamp` is of their files as they were before. What `make` raises is raised, and nothing kept.
    """
    kept_in = _cache_folder()
    if kept_in is None:
        return make()
    file = kept_in / _name(folder, layers, stamp)
    kept: Kept | None = _kept_in(file)
    if kept is not None:
        return kept
    result = make()
    if stamp_of(folder, layers) == stamp:  # else files changed while they were read
        _keep(result, file)
    return result


def _cache_folder() -> Path | None:
    """Return this user's folder, which is made where there is none; None where it cannot be, or is another's."""
    try:
        folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "heartlevel"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return folder if _is_ours_alone(folder.stat()) else None
    except (OSError, RuntimeError):  # no room, not writable; a user without a home
        return None


def _is_ours_alone(status: os.stat_result) -> bool:
    return status.st_uid == os.geteuid() and not status.st_mode & (S_IWGRP | S_IWOTH)


def _name(folder: Path | None, layers: Sequence[Path], stamp: Stamp) -> str:
    """Return the name of the file for these rules, as this package, this Python and these libraries read them."""
    read_by = (sys.version, *map(version, LIBRARIES), sorted(_files_of_package()))
    return sha256(repr((str(folder), list(map(str, layers)), stamp, read_by)).encode()).hexdigest() + ENDING


def _files_of_package() -> Iterator[tuple[str, int, int]]:
    """Yield path, size and time of change of every file of the package that is no rule file: those have their stamp."""
    rules = shipped("rules")
    for folder, _, names in os.walk(PACKAGE):  # 30 times as fast as a pattern of paths
        read = [name for name in names if name.endswith((".py", ".json"))]
        if read and not Path(folder).is_relative_to(rules):
            for path in (Path(folder, name) for name in read):
                status = path.stat()
                yield str(path), status.st_size, status.st_mtime_ns


def _kept_in(file: Path) -> Any:
    """Return what a file keeps; None where there is no such file, it is not ours alone, or not whole."""
    try:
        with os.fdopen(os.open(file, os.O_RDONLY | os.O_NOFOLLOW), "rb") as kept:
            content = kept.read() if _is_ours_alone(os.fstat(kept.fileno())) else b""
    except OSError:
        return None
    digest, pickled = content[:DIGEST_SIZE], content[DIGEST_SIZE:]
    if sha256(pickled).digest() != digest:
        return None
    os.utime(file)  # those not used for longest go first
    with collector_off():
        return pickle.loads(pickled)  # noqa: S301 - written by this user alone


def _keep(result: object, file: Path) -> None:
    """Write to a file, as a whole or not at all, and remove those of which there are too many."""
    pickled = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
    with suppress(OSError):  # no room for it, or another process was faster: the next process loads them again
        with NamedTemporaryFile(dir=file.parent, delete=False) as beside:  # for this user alone
            beside.write(sha256(pickled).digest() + pickled)
        Path(beside.name).replace(file)
        kept = sorted(file.parent.glob(f"*{ENDING}"), key=lambda path: path.stat().st_mtime)
        for oldest in kept[:-MOST_KEPT]:
            oldest.unlink()
