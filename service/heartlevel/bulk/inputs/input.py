"""An input and its format: of requests, or of rows of a table."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeAlias

from heartlevel.bulk.inputs.chunks import BadRow, Chunk
from heartlevel.bulk.inputs.opening import Meter, decompressed, raise_if_damaged
from heartlevel.intake.ndjson import DecodedLine, NumberedTexts, RequestText
from heartlevel.intake.own.form import Form
from heartlevel.tables.meanings import Mapped

ContentTest: TypeAlias = Callable[[bytes, bool], bool]  # of the first bytes; whether columns are mapped


@dataclass(frozen=True, slots=True)
class InputFormat:
    """A format of inputs, and by what it is known."""

    name: str
    about: str
    endings: tuple[str, ...]
    begins: ContentTest


@dataclass(frozen=True, slots=True)
class RequestFormat(InputFormat):
    """A wire format of requests. `split` cuts a file into texts, here; `decode` makes requests of them, in a worker."""

    split: Callable[[IO[bytes]], NumberedTexts]
    decode: Callable[[Iterable[tuple[int, RequestText]], Form], Iterator[DecodedLine]]


@dataclass(frozen=True, slots=True)
class TableFormat(InputFormat):
    """A format of tables, a row a reading. Its readers raise Damaged after what could be read."""

    header: "Callable[[Input, Mapped], list[str]]"
    chunks: "Callable[[Input, Mapped, Meter | None], Iterator[Chunk | BadRow]]"
    # What the columns are called where something in them is at fault; None: by their names.
    labels: "Callable[[Input, Mapped], list[str]] | None" = None


@dataclass(frozen=True, slots=True)
class Input:
    """One file, or standard input where there is no path."""

    name: str
    format: InputFormat
    path: Path | None
    stream: IO[bytes] | None = None

    @property
    def size(self) -> int | None:
        """Return its length in bytes as it is stored; None for standard input."""
        return self.path.stat().st_size if self.path and self.stream is None else None

    @contextmanager
    def open(self, meter: Meter | None = None) -> Iterator[IO[bytes]]:
        """Open it from its beginning, decompressed; what is read is added to the meter.

        Leaving raises Damaged if the file was cut off.
        """
        if self.path is None:
            assert self.stream is not None
            yield (file := decompressed(self.stream, meter))
            raise_if_damaged(self.stream)
            raise_if_damaged(file)
            return
        with self.path.open("rb") as stored, decompressed(stored, meter) as file:
            yield file
            raise_if_damaged(file)


def table_format(table: Input) -> TableFormat:
    """Return the format of an input that is a table."""
    assert isinstance(table.format, TableFormat)
    return table.format
