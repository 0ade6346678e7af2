"""What has been written so far, so that an interrupted run goes on where it stopped, even after it was killed.

Beside the output grow OUTPUT.partial and OUTPUT.journal. A part counts as written when its line stands in the
journal; what was written after that is cut off on resuming. At the end the output takes its name at once.
"""

import fcntl
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from hashlib import blake2b
from pathlib import Path
from time import monotonic
from typing import IO, Any, Self

import orjson

from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.wrong_call import WrongCall

PARTIAL, JOURNAL = ".partial", ".journal"
SECONDS_AT_RISK = 0.25  # of work that a run loses if it is killed; waiting for the disk after each part takes longer
CHANGED = {
    "service": "the program is of another version",
    "rules": "the rules are others",
    "options": "the options, or the mapping of columns, are others",
    "inputs": "the inputs are others, or of another size",
}


@dataclass(slots=True)
class Written:
    """How far a run has come: parts written, bytes of each file, counts of all so far, and a hash of what was read."""

    parts: int = 0
    sizes: list[int] = field(default_factory=list)
    counts: Counts = field(default_factory=Counts)
    digest: str = ""
    done: bool = False


def chained(digest: str, part: str) -> str:
    """Return the hash of all parts so far, the last one's included."""
    return blake2b(f"{digest} {part}".encode(), digest_size=16).hexdigest()


def beside(path: Path, ending: str) -> Path:
    """Return the path of a file that accompanies an output."""
    return path.with_name(path.name + ending)


class Journal:
    """The growing files of a run: its outputs and, if asked for, the file of problems."""

    def __init__(
        self, outputs: list[Path], problems: Path | None, head: Mapping[str, Any], resume: bool, begins: list[bytes]
    ) -> None:
        """Begin, or go on. `begins` stands at the beginning of the outputs.

        Raises WrongCall if another process is writing, or if the run to go on with was another.
        """
        self.outputs, self.paths = len(outputs), [*outputs, *([problems] if problems else [])]
        self._noted, self._unnoted, self._files = 0.0, False, list[IO[bytes]]()
        self._file = beside(self.paths[0], JOURNAL).open("a+b")
        self._lock()
        earlier = self._left_by_earlier(head) if resume else None
        self.written = earlier or Written()
        if earlier is None:
            self._begin(head, begins)
        elif not earlier.done:
            self._go_on()

    def _lock(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self._file.close()
            raise WrongCall(f"{self.paths[0]} is being written by another process") from None

    def _left_by_earlier(self, head: Mapping[str, Any]) -> Written | None:
        """Read what an earlier run left. A last line cut off by its end does not count."""
        self._file.seek(0)
        first = self._file.readline()
        if not first.endswith(b"\n"):
            return None
        kept = orjson.loads(first)
        changed = [text for key, text in CHANGED.items() if kept.get(key) != head[key]]
        if changed:
            self._file.close()
            raise WrongCall(f"cannot resume {self.paths[0]}: {'; '.join(changed)}. Without --resume it begins anew")
        last, end = None, self._file.tell()
        for line in self._file:
            if not line.endswith(b"\n"):
                break
            last, end = line, end + len(line)
        self._file.truncate(end)
        return _written(orjson.loads(last)) if last else None

    def _begin(self, head: Mapping[str, Any], begins: list[bytes]) -> None:
        self._file.truncate(0)
        self._open("wb")
        for file, first in zip(self._files, begins, strict=False):
            file.write(first)
        self.written.sizes = [file.tell() for file in self._files]
        self._note(head)

    def _go_on(self) -> None:
        self._open("r+b")
        for file, size in zip(self._files, self.written.sizes, strict=True):
            if os.fstat(file.fileno()).st_size < size:
                raise WrongCall(f"cannot resume {self.paths[0]}: what was written is no longer there whole")
            file.truncate(size)
            file.seek(size)

    def _open(self, mode: str) -> None:
        try:
            self._files = [beside(path, PARTIAL).open(mode) for path in self.paths]
        except FileNotFoundError as error:
            raise WrongCall(f"cannot resume {self.paths[0]}: {error.filename} is gone") from error

    def add(self, judged: JudgedPart, digest: str) -> None:
        """Write what came of a part; `digest` is of all parts read so far."""
        for file, content in zip(self._files, [*judged.outputs, judged.problems], strict=False):
            file.write(content)
        self.written.parts, self.written.digest = judged.number + 1, digest
        self.written.sizes = [file.tell() for file in self._files]
        self.written.counts.add(judged.counts)
        self._unnoted = True
        if monotonic() - self._noted >= SECONDS_AT_RISK:
            self._note_parts()

    def _note_parts(self) -> None:
        """Note the parts written since the last time, once they are on the disk."""
        if not self._unnoted:
            return
        for file in self._files:
            _to_disk(file)
        self._note(asdict(self.written))
        self._noted, self._unnoted = monotonic(), False

    def _note(self, line: Mapping[str, Any]) -> None:
        self._file.write(orjson.dumps(line) + b"\n")
        _to_disk(self._file)

    def finish(self, convert: Any) -> None:
        """Give the files their names, the outputs first converted by `convert(from, to)` if that is given.

        May be done again after an interruption at any point.
        """
        if not self.written.done:
            self._note_parts()
            for file in self._files:
                file.close()
            self.written.done = True
            self._note(asdict(self.written))
        for number, path in enumerate(self.paths):
            partial = beside(path, PARTIAL)
            if convert and number < self.outputs and partial.exists():
                convert(partial, beside(path, ".converted"))
                beside(path, ".converted").replace(path)
                partial.unlink()
            elif partial.exists():
                partial.replace(path)
        beside(self.paths[0], JOURNAL).unlink()

    def __enter__(self) -> Self:
        """Hold the files."""
        return self

    def __exit__(self, *what: object) -> None:
        """Let the files go; what is written stays, and is noted unless that is what failed."""
        if not any(file.closed for file in (*self._files, self._file)):
            self._note_parts()
        for file in (*self._files, self._file):
            file.close()


def _written(line: dict[str, Any]) -> Written:
    return Written(**{**line, "counts": Counts(**line["counts"])})


def _to_disk(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())
