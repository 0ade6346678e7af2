"""A progress bar on standard error, and a summary at the end."""

from time import monotonic
from typing import Any

import click

from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.results import Counts, JudgedPart


class Progress:
    """Shows how far the inputs are read, at what rate, and how long it will take. Shows nothing unless wanted."""

    def __init__(self, wanted: bool) -> None:
        """Begin when first told of anything."""
        self._wanted, self._began, self._readings = wanted, monotonic(), 0
        self._bar: Any = None

    def start(self, total: int | None) -> None:
        """Show the bar; `total` bytes are to be read."""
        if not self._wanted:
            return
        from tqdm import tqdm  # loaded only for those who see it

        tqdm.monitor_interval = 0  # no thread beside processes that are forked
        self._bar = tqdm(total=total, unit="B", unit_scale=True, dynamic_ncols=True, desc="assessed")

    def moved(self, position: int) -> None:
        """Show what has been read while nothing could be assessed yet: rows are brought together first."""
        if self._bar is not None and self._readings == 0:
            self._to(position)

    def done(self, part: BulkPart, judged: JudgedPart) -> None:
        """Show that a part is done."""
        self._readings += judged.counts.readings
        if self._bar is not None:
            self._bar.set_postfix_str(f"{self._readings / (monotonic() - self._began):.0f} readings/s", refresh=False)
            self._to(part.position)

    def _to(self, position: int) -> None:
        self._bar.update(max(0, position - self._bar.n))

    def end(self, counts: Counts) -> None:
        """Close the bar and say what was found."""
        if self._bar is not None:
            self._bar.close()
        if self._wanted:
            click.echo(
                f"{counts.subjects} subjects, {counts.readings} readings: {counts.urgent} urgent, {counts.refused} not "
                f"assessed, {counts.problems} problems; {monotonic() - self._began:.1f} s",
                err=True,
            )
