"""What has been written so far, so that an interrupted run goes on where it stopped, even after it was killed.

Beside the output grow OUTPUT.partial and OUTPUT.journal. A part counts as written when its line stands in the
journal; what was written after that is cut off on resuming, and what was written before it is held against the hashes
noted with it. At the end the output takes its name at once.
"""

import fcntl
import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from hashlib import blake2b
from pathlib import Path
from time import monotonic
from typing import IO, Any, Self

import orjson

from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.wrong_call import WrongCall

PARTIAL, JOURNAL = ".partial", ".journal"
PIECE = 1024 * 1024
ANEW = "Without --resume it begins anew"
SECONDS_AT_RISK = 0.25  # of work that a run loses if it is killed; waiting for the disk after each part takes longer
CHANGED = {
    "service": "the program is of another version",
    "rules": "the rules are others",
    "options": "the options, or the mapping of columns, are others",
    "inputs": "the inputs are others, or of another size",
}


@dataclass(slots=True)
class Written:
    """How far a run has come: parts written, bytes of each file and their hash, counts, and a hash of what was read."""

    parts: int = 0
    sizes: list[int] = field(default_factory=list)
    hashes: list[str] = field(default_factory=list)
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
        self._hashers = [blake2b(digest_size=16) for _ in self.paths]
        self._file = beside(self.paths[0], JOURNAL).open("a+b")
        self._lock()
        earlier = self._left_by_earlier(head) if resume else []
        self.written = earlier[-1] if earlier else Written()
        if not earlier:
            self._begin(head, begins)
        elif not self.written.done:
            self._go_on(earlier)

    def _lock(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self._file.close()
            raise WrongCall(f"{self.paths[0]} is being written by another process") from None

    def _left_by_earlier(self, head: Mapping[str, Any]) -> list[Written]:
        """Return what an earlier run noted, in order. A last line cut off by its end does not count."""
        self._file.seek(0)
        whole = self._file.read()
        end = whole.rfind(b"\n") + 1
        if not end:
            return []
        kept, *noted = [self._read(number, line) for number, line in enumerate(whole[:end].splitlines(), start=1)]
        changed = [text for key, text in CHANGED.items() if kept.get(key) != head[key]]
        if changed:
            raise self._refused("; ".join(changed))
        self._file.truncate(end)
        return [Written(**{**line, "counts": Counts(**line["counts"])}) for line in noted]

    def _read(self, number: int, line: bytes) -> dict[str, Any]:
        """Return a line as it was noted. Raises WrongCall where it is not."""
        try:
            noted: dict[str, Any] = orjson.loads(line)
            is_whole = noted.pop("check") == _check(noted)
        except (orjson.JSONDecodeError, AttributeError, KeyError):
            is_whole = False
        if not is_whole:
            raise self._refused(f"line {number} of {beside(self.paths[0], JOURNAL)} was changed since it was written")
        return noted

    def _refused(self, why: str) -> WrongCall:
        for file in (*self._files, self._file):
            file.close()
        return WrongCall(f"cannot resume {self.paths[0]}: {why}. {ANEW}")

    def _begin(self, head: Mapping[str, Any], begins: list[bytes]) -> None:
        self._file.truncate(0)
        self._open("wb")
        self._append(begins)
        self._note(head)

    def _go_on(self, earlier: list[Written]) -> None:
        self._open("r+b")
        for number, file in enumerate(self._files):
            self._hold_against(number, earlier)
            file.truncate(self.written.sizes[number])
            file.seek(self.written.sizes[number])

    def _hold_against(self, number: int, earlier: list[Written]) -> None:
        """Read what was written of a file. Raises WrongCall where it is not what was noted of it."""
        file, hasher, before = self._files[number], self._hashers[number], 0
        for noted in earlier:
            left = noted.sizes[number] - before
            while left and (piece := file.read(min(left, PIECE))):
                hasher.update(piece)
                left -= len(piece)
            if left:
                raise self._refused(f"{file.name} has only {os.fstat(file.fileno()).st_size} bytes of what was written")
            if hasher.hexdigest() != noted.hashes[number]:
                raise self._refused(f"{file.name} was changed between its bytes {before} and {noted.sizes[number]}")
            before = noted.sizes[number]

    def _append(self, contents: Iterable[bytes]) -> None:
        for file, hasher, content in zip(self._files, self._hashers, contents, strict=False):
            file.write(content)
            hasher.update(content)
        self.written.sizes = [file.tell() for file in self._files]
        self.written.hashes = [hasher.hexdigest() for hasher in self._hashers]

    def _open(self, mode: str) -> None:
        try:
            for path in self.paths:
                self._files.append(beside(path, PARTIAL).open(mode))
        except FileNotFoundError as error:
            raise self._refused(f"{error.filename} is gone") from error

    def add(self, judged: JudgedPart, digest: str) -> None:
        """Write what came of a part; `digest` is of all parts read so far."""
        self._append([*judged.outputs, judged.problems])
        self.written.parts, self.written.digest = judged.number + 1, digest
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
        self._file.write(orjson.dumps({**line, "check": _check(line)}) + b"\n")
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


def _check(line: Mapping[str, Any]) -> str:
    return blake2b(orjson.dumps(line, option=orjson.OPT_SORT_KEYS), digest_size=8).hexdigest()


def _to_disk(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())
