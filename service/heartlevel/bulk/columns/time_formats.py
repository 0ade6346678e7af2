"""Whether times are written as it was said, seen before anything is assessed.

A wrong format that some times fit by chance, day and month the other way round, gives wrong dates without a problem.
"""

from datetime import datetime

from heartlevel.bulk.columns.layouts import chunks_of
from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.bulk.inputs.input import Input
from heartlevel.intake.written import time_written
from heartlevel.tables.field_columns import joined_times
from heartlevel.tables.meanings import Layout, Mapped

MOST_TIMES = 1000  # looked at
# So many of them may be slips, or this share; more mean that the format is another one, as it is if none is written so.
FEW_SLIPS, SHARE_OF_SLIPS = 2, 0.1
SHOWN = 3


def time_format_fault(table: Input, layout: Layout, mapped: Mapped) -> str | None:
    """Return what is wrong with the format of times, by the first of a table; None if they are so, or in ISO 8601."""
    if mapped.time_format is None:
        return None
    looked_at, otherwise = 0, list[int]()
    for chunk in chunks_of(table, mapped):
        if not isinstance(chunk, Chunk):
            continue
        for line, text in _times_in(chunk, layout, mapped, MOST_TIMES - looked_at):
            looked_at += 1
            if not _is_written(text, mapped.time_format):
                otherwise.append(line)
        if looked_at >= MOST_TIMES:
            break
    if len(otherwise) <= max(FEW_SLIPS, SHARE_OF_SLIPS * looked_at) and len(otherwise) < max(looked_at, 1):
        return None
    lines = ", ".join(map(str, otherwise[:SHOWN]))
    told = f"of the first {looked_at} times {len(otherwise)} are written otherwise, such as on line {lines}"
    return f"time_format {mapped.time_format!r}: {told}"


def _times_in(chunk: Chunk, layout: Layout, mapped: Mapped, most: int) -> list[tuple[int, str]]:
    """Return the first times of a chunk that are there, each with its line."""
    columns = [
        (cells, meaning) for cells, meaning in zip(chunk.cells, layout.meanings, strict=True)
        if meaning is not None and meaning.to == "taken_at"
    ]  # fmt: skip
    texts = joined_times(columns, mapped.decimal) if columns else []
    return [(line, text) for line, text in zip(chunk.lines.tolist(), texts, strict=False) if text][:most]


def _is_written(text: str, time_format: str) -> bool:
    try:
        datetime.strptime(text, time_format)
    except ValueError:
        return time_written(text) is not None
    return True
