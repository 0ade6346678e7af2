"""The bytes of a file that others may have put there: nothing is read that is no file, has no end, or is too large."""

import os
from errno import ELOOP
from pathlib import Path
from stat import S_ISDIR, S_ISFIFO, S_ISREG, S_ISSOCK

# Where a pipe takes the file's place at this very moment, nobody waits for what comes through it.
WITHOUT_WAITING = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC


class NotRead(Exception):
    """A file is not read; `code` is that of the mistake, `detail` says why."""

    def __init__(self, code: str, detail: str) -> None:
        """Keep both."""
        super().__init__(detail)
        self.code, self.detail = code, detail


def bytes_of_file(path: Path, most: int) -> bytes:
    """Return what a file holds, at most so many bytes. Raises NotRead, without waiting for anything."""
    try:
        _refuse_other_than_file(path.stat().st_mode)
        with os.fdopen(os.open(path, WITHOUT_WAITING), "rb") as file:
            status = os.fstat(file.fileno())
            _refuse_other_than_file(status.st_mode)
            if status.st_size > most:
                raise NotRead("file-too-long", f"{status.st_size} bytes; at most {most} are read")
            content = file.read(most + 1)
    except OSError as error:
        raise NotRead("unreadable", _why(path, error)) from error
    if len(content) > status.st_size:
        raise NotRead("unreadable", "it grows while it is read; something still writes to it")
    return content


def _refuse_other_than_file(mode: int) -> None:
    if not S_ISREG(mode):
        kinds = {S_ISFIFO: "a named pipe", S_ISSOCK: "a socket", S_ISDIR: "a folder"}
        kind = next((kind for is_kind, kind in kinds.items() if is_kind(mode)), "a device")
        raise NotRead("unreadable", f"this is {kind}, not a file")


def _why(path: Path, error: OSError) -> str:
    if error.errno == ELOOP:
        return "its links lead in a circle"
    if isinstance(error, FileNotFoundError) and path.is_symlink():
        return "the link leads to nothing"
    return f"cannot be read: {error.strerror}"
