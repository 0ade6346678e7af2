"""The log of decisions: lines with the moment and the request that each was come to in."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

import orjson

from heartlevel.decisions.decided import Decision
from heartlevel.decisions.lines import KeptLines

SETTING = "HEARTLEVEL_DECISIONS"


class DecisionLog:
    """Appends to one file, or keeps nothing where there is none. Of any number of threads and processes."""

    def __init__(self, path: Path | None, on_loss: Callable[[int], None] = lambda decisions: None) -> None:
        """Make sure that the file can be opened; `on_loss` is told how many decisions could not be kept, each time.

        Raises LinesNotKept.
        """
        self._kept = KeptLines(path, "decisions", on_loss) if path is not None else None

    @property
    def lost(self) -> int:
        """How many decisions could not be kept."""
        return self._kept.lost if self._kept else 0

    def write(self, request: str, decisions: Sequence[Decision]) -> None:
        """Keep decisions on a request, a line each, all or none; what cannot be written is counted, and said once."""
        if self._kept is None or not decisions:
            return
        head = {"time": datetime.now(UTC).isoformat(timespec="milliseconds"), "request": request}
        self._kept.write(b"".join(orjson.dumps({**head, **decision}) + b"\n" for decision in decisions), len(decisions))
