"""The tables among the inputs: how their columns are laid out, and their rows in chunks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from heartlevel.bulk.chunks import BadRow, Chunk
from heartlevel.bulk.csv_chunks import chunks_of_csv, header_of_csv
from heartlevel.bulk.fields import FIELDS, REQUIRED
from heartlevel.bulk.inputs import CSV, Input, WrongCall
from heartlevel.bulk.mapping import Column, Mapped
from heartlevel.bulk.opening import Damaged, Meter
from heartlevel.bulk.parquet_chunks import chunks_of_parquet, header_of_parquet
from heartlevel.intake.faults import near


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of one table: their names, and what each means to us."""

    names: Sequence[str]
    columns: Sequence[Column | None]
    subject: int  # place of the column that names the subject


def header_of(one: Input, mapped: Mapped) -> list[str]:
    """Return the names of a table's columns. Raises WrongCall if there are none."""
    names = header_of_csv(one, mapped) if one.format == CSV else header_of_parquet(one)
    if not names:
        raise WrongCall(f"{one.name}: no columns could be read")
    return names


def layout_of(one: Input, mapped: Mapped) -> Layout:
    """Lay a table's columns out. Raises WrongCall where a needed one is missing, doubled or not understood."""
    names = header_of(one, mapped)
    columns = [mapped.column(name) for name in names]
    faults = list(faults_of(names, columns, mapped))
    if faults:
        raise WrongCall("\n".join(f"{one.name}: {fault}" for fault in faults))
    return Layout(names, columns, next(at for at, column in enumerate(columns) if column and column.to == "subject"))


def faults_of(names: Sequence[str], columns: Sequence[Column | None], mapped: Mapped) -> Iterator[str]:
    """Say what keeps a table from being read: columns missing, not understood, or meaning the same."""
    there = [column.to for column in columns if column]
    for name in REQUIRED:
        if name not in there and (name == "subject" or name not in mapped.fixed):
            yield f"no column for {name}"
    for name, column in zip(names, columns, strict=True):
        if column is None and not mapped.ignored(name):
            hint = near(name.strip(), FIELDS)
            yield f"column {name!r} is not understood{f' ({hint})' if hint else ''}; map it, or name it under `ignore`"
    for to in sorted({to for to in there if there.count(to) > 1 and to != "taken_at"}):
        yield f"more than one column for {to}"


def chunks_of(one: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Chunk | BadRow]:
    """Yield the rows of a table. A row that cannot be read costs no other."""
    try:
        yield from chunks_of_csv(one, mapped, meter) if one.format == CSV else chunks_of_parquet(one, meter)
    except Damaged:
        yield BadRow(0, "damaged")


def samples_of(one: Input, mapped: Mapped, most: int = 100) -> list[list[Any]]:
    """Return the cells of the first rows."""
    return next((chunk.rows(most) for chunk in chunks_of(one, mapped) if isinstance(chunk, Chunk)), [])
