"""Whether the times of a table are written as it was said, seen before anything is assessed."""

from heartlevel.bulk.columns.layouts import chunks_of
from heartlevel.bulk.inputs.chunks import Chunk
from heartlevel.bulk.inputs.input import Input
from heartlevel.tables.field_columns import times_in
from heartlevel.tables.meanings import Layout, Mapped
from heartlevel.tables.written_times import MOST_TIMES, format_fault


def time_format_fault(table: Input, layout: Layout, mapped: Mapped) -> str | None:
    """Return what is wrong with the format of times, by the first of a table; None if they are written so."""
    if mapped.time_format is None:
        return None
    times = list[tuple[int, str]]()
    for chunk in chunks_of(table, mapped):
        if isinstance(chunk, Chunk):
            texts = times_in(chunk.cells, layout.meanings, mapped.decimal)
            times += [(line, text) for line, text in zip(chunk.lines.tolist(), texts, strict=False) if text]
        if len(times) >= MOST_TIMES:
            break
    return format_fault(mapped.time_format, times[:MOST_TIMES], "line")
