"""What is to be read: files, globs, folders and standard input, and in which format each is."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from glob import glob
from pathlib import Path
from re import compile as pattern
from typing import IO

from heartlevel.bulk.opening import COMPRESSED, Meter, beginning, opened, raise_if_damaged, spooled
from heartlevel.tables.fields import ALIASES, FIELDS

LINES, CSV, PARQUET = "json", "csv", "parquet"
FORMATS = (LINES, CSV, PARQUET)
ENDINGS = {".json": LINES, ".ndjson": LINES, ".jsonl": LINES, ".csv": CSV, ".tsv": CSV, ".parquet": PARQUET}
STANDARD_INPUT = "-"
BETWEEN_NAMES = pattern(r'[,;|\s"\ufeff]+')


class WrongCall(Exception):
    """The call cannot be carried out as it stands; the text says why, and holds no value of any reading."""


@dataclass(frozen=True, slots=True)
class Input:
    """One file, or standard input where there is no path."""

    name: str
    format: str
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
            yield (file := opened(self.stream, meter))
            raise_if_damaged(self.stream)
            raise_if_damaged(file)
            return
        with self.path.open("rb") as stored, opened(stored, meter) as file:
            yield file
            raise_if_damaged(file)


def inputs_of(
    arguments: Sequence[str], standard: IO[bytes], forced: str | None, mapped: bool, written: Sequence[Path | None]
) -> list[Input]:
    """Return the inputs named, folders and globs in the order of their paths, without the files and folders `written` to.

    Raises WrongCall for a name that stands for nothing.
    """
    left_out = {one.resolve() for one in written if one is not None}
    found = []
    for argument in arguments:
        if argument == STANDARD_INPUT:
            found.append(_standard_input(standard, forced, mapped))
            continue
        paths = [path for path in _paths(argument) if left_out.isdisjoint([path.resolve(), *path.resolve().parents])]
        if not paths:
            raise WrongCall(f"{argument}: nothing to read there besides what is written")
        found += [Input(str(path), forced or _format_of(path, mapped), path) for path in paths]
    return found


def _paths(argument: str) -> list[Path]:
    path = Path(argument)
    if path.is_dir():
        return sorted(one for one in path.rglob("*") if _ending(one) in ENDINGS and one.is_file())
    if path.exists():
        return [path]
    found = sorted(Path(one) for one in glob(argument, recursive=True))  # noqa: PTH207 (takes absolute patterns too)
    files = [one for one in found if one.is_file()]
    if not files:
        raise WrongCall(f"{argument}: no such file, folder or glob")
    return files


def _ending(path: Path) -> str:
    return (path.with_suffix("") if path.suffix in COMPRESSED else path).suffix.lower()


def _format_of(path: Path, mapped: bool) -> str:
    known = ENDINGS.get(_ending(path))
    if known:
        return known
    with path.open("rb") as stored, opened(stored) as file:
        return _by_content(beginning(file), mapped)


def _by_content(first: bytes, mapped: bool) -> str:
    if first.startswith(b"PAR1"):
        return PARQUET
    if first.lstrip()[:1] in (b"{", b"["):
        return LINES
    return CSV if mapped or _names_fields(first) else LINES


def _names_fields(first: bytes) -> bool:
    """Tell whether the first line names fields of the request, as the head of a table does."""
    names = set(BETWEEN_NAMES.split(first.partition(b"\n")[0].decode("utf-8", "replace")))
    return not names.isdisjoint(FIELDS.keys() | ALIASES.keys())


def _standard_input(stream: IO[bytes], forced: str | None, mapped: bool) -> Input:
    """Tables are looked at before they are read, so they are kept in a temporary file meanwhile."""
    file = opened(stream)
    kind = forced or _by_content(beginning(file), mapped)
    if kind == LINES:
        return Input("<stdin>", kind, None, file)
    return Input("<stdin>", kind, spooled(file), file)
