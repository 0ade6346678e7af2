"""Files opened from their beginning, decompressed by what they begin with, and counted while they are read."""

import gzip
import io
import zlib
from atexit import register
from collections.abc import Callable
from pathlib import Path
from shutil import copyfileobj
from tempfile import NamedTemporaryFile
from typing import IO, Any, cast

import pyarrow

COMPRESSED = {".gz": b"\x1f\x8b", ".zst": b"\x28\xb5\x2f\xfd"}
BUFFER = 1024 * 1024
STEP = 8192  # decompressed at a time, so that damage costs little of what lies before it


class Damaged(Exception):
    """The file was damaged or cut off; all of it that could be read has been."""


class Meter:
    """How many bytes have been read, of how many; `moved` is told."""

    def __init__(self, total: int | None, moved: Callable[[int], None] = lambda position: None) -> None:
        """Begin at nought."""
        self.total, self.position, self._moved = total, 0, moved

    def advance(self, size: int) -> None:
        """Add what was read."""
        self.position += size
        self._moved(self.position)


class _Counted(io.RawIOBase):
    """Passes reads on and counts them."""

    def __init__(self, file: IO[bytes], meter: Meter) -> None:
        self._file, self._meter = file, meter

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        content = self._file.read(len(buffer))
        buffer[: len(content)] = content
        self._meter.advance(len(content))
        return len(content)

    def close(self) -> None:
        self._file.close()
        super().close()


class _Decoded(io.RawIOBase):
    """Passes on what can be decompressed; damage is an end, and remembered."""

    def __init__(self, stream: Any) -> None:
        self._stream, self.damaged = stream, False

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        try:
            content = b"" if self.damaged else self._stream.read1(min(len(buffer), STEP))
        except (OSError, EOFError, zlib.error):  # whoever opened the file is told at its end
            self.damaged, content = True, b""
        buffer[: len(content)] = content
        return len(content)

    def close(self) -> None:
        self._stream.close()
        super().close()


def decompressed(file: IO[bytes], meter: Meter | None = None) -> IO[bytes]:
    """Return the file's content, decompressed where it begins as gzip or zstd does; its beginning can be peeked at."""
    raw = _Counted(file, meter) if meter else file
    buffered = raw if isinstance(raw, io.BufferedReader) else io.BufferedReader(cast(io.RawIOBase, raw), BUFFER)
    first = buffered.peek(4)
    if first.startswith(COMPRESSED[".gz"]):
        return cast(IO[bytes], io.BufferedReader(_Decoded(gzip.GzipFile(fileobj=buffered)), BUFFER))
    if first.startswith(COMPRESSED[".zst"]):
        stream = pyarrow.CompressedInputStream(pyarrow.PythonFile(buffered, mode="r"), "zstd")
        return cast(IO[bytes], io.BufferedReader(_Decoded(stream), BUFFER))
    return cast(IO[bytes], buffered)


def beginning(file: IO[bytes]) -> bytes:
    """Return the first bytes of an opened file without taking them from it; none if they are damaged."""
    return cast(io.BufferedReader, file).peek(64)


def raise_if_damaged(file: IO[bytes]) -> None:
    """Raise Damaged if an opened file came to its end too soon."""
    if getattr(cast(io.BufferedReader, file).raw, "damaged", False):
        raise Damaged


def spooled(file: IO[bytes]) -> Path:
    """Copy a stream into a temporary file, removed when the process ends."""
    with NamedTemporaryFile(prefix="heartlevel-", delete=False) as copy:
        register(Path(copy.name).unlink, missing_ok=True)
        copyfileobj(file, copy, BUFFER)
    return Path(copy.name)
