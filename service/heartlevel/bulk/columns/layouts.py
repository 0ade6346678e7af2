"""The tables among the inputs: how their columns are laid out, and their rows in chunks."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import pyarrow

from heartlevel.bulk.inputs.chunks import BadRow, Chunk
from heartlevel.bulk.inputs.input import Input, table_format
from heartlevel.bulk.inputs.opening import Damaged, Meter
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.columns import Ints
from heartlevel.tables.arrow.arrays import as_arrow, texts_as_arrow
from heartlevel.tables.cells import subject_names
from heartlevel.tables.meanings import Layout, Mapped, layout_of, missing_columns, repeated_columns, strange_columns


def header_of(table: Input, mapped: Mapped) -> list[str]:
    """Return the names of a table's columns. Raises WrongCall if there are none."""
    names = table_format(table).header(table, mapped)
    if not names:
        raise WrongCall(f"{table.name}: no columns could be read")
    return names


def checked_layout(table: Input, mapped: Mapped) -> Layout:
    """Lay a table's columns out. Raises WrongCall where a needed one is missing, doubled or not understood."""
    names = header_of(table, mapped)
    faults = list(layout_faults(names, mapped))
    if faults:
        raise WrongCall("\n".join(f"{table.name}: {fault}" for fault in faults))
    layout, labels = layout_of(names, mapped), table_format(table).labels
    return replace(layout, names=labels(table, mapped)) if labels else layout


def layout_faults(names: Sequence[str], mapped: Mapped) -> Iterator[str]:
    """Say what keeps a table from being read: columns missing, not understood, or meaning the same."""
    yield from (f"no column for {name}" for name in missing_columns(names, mapped))
    for name, hint in strange_columns(names, mapped):
        yield f"column {name!r} is not understood{f' ({hint})' if hint else ''}; map it, or name it under `ignore`"
    yield from (f"more than one column for {name}" for name in repeated_columns(names, mapped))


def chunks_of(table: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk | BadRow]:
    """Yield the rows of a table. A row that cannot be read costs no other."""
    try:
        yield from table_format(table).chunks(table, mapped, meter)
    except Damaged:
        yield BadRow(0, "damaged")


def subjects_of(chunk: Chunk, layout: Layout) -> tuple[pyarrow.Array, Ints]:
    """Return the name of the subject of each row, and the lines of the rows that have none."""
    owners, names = subject_names(chunk.cells, layout)
    by_row = texts_as_arrow(names).take(as_arrow(owners, owners < 0))
    return by_row, chunk.lines[owners < 0]
