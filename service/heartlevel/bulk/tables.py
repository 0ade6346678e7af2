"""Rows of CSV and Parquet files, one at a time, and how their columns are laid out."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any, TypeAlias

import orjson

from heartlevel.bulk.fields import FIELDS, REQUIRED
from heartlevel.bulk.inputs import CSV, Input, WrongCall
from heartlevel.bulk.mapping import Column, Mapped
from heartlevel.bulk.opening import Damaged, Meter
from heartlevel.intake.faults import near
from heartlevel.intake.ndjson import LineTooLong, lines_of

LONGEST_ROW = 1024 * 1024
BATCH = 4096
DELIMITERS = ",;\t|"
Row: TypeAlias = tuple[int, list[Any]]  # line or row number from 1, cells


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that is none."""

    line: int
    code: str


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of one table: their names, and what each means to us."""

    names: Sequence[str]
    columns: Sequence[Column | None]
    subject: int  # place of the column that names the subject


def header_of(one: Input, mapped: Mapped) -> list[str]:
    """Return the names of a table's columns. Raises WrongCall if there are none."""
    if one.format == CSV:
        first = next(_lines(one, None), None)
        names = _split(first[1], _delimiter(first[1], mapped)) if first and isinstance(first[1], str) else []
    else:
        names = list(_flat_names(_parquet(one)))
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


def rows_of(one: Input, mapped: Mapped, meter: Meter | None = None) -> Iterator[Row | BadRow]:
    """Yield each row of a table. A row that cannot be read costs no other."""
    try:
        yield from _csv_rows(one, mapped, meter) if one.format == CSV else _parquet_rows(one, meter)
    except Damaged:
        yield BadRow(0, "damaged")


def samples_of(one: Input, mapped: Mapped, most: int = 100) -> list[list[Any]]:
    """Return the cells of the first rows."""
    return [row[1] for row in islice(rows_of(one, mapped), most) if not isinstance(row, BadRow)]


def _csv_rows(one: Input, mapped: Mapped, meter: Meter | None) -> Iterator[Row | BadRow]:
    source = _Fed(_lines(one, meter))
    header = next(source, "")
    delimiter = _delimiter(header, mapped)
    width = len(_split(header, delimiter))
    reader = csv.reader(source, delimiter=delimiter, strict=False)
    while True:
        source.began = 0
        try:
            cells = next(reader, None)
        except csv.Error:
            yield from source.taken()
            yield BadRow(source.line, "not-csv")
            continue
        yield from source.taken()
        if cells is None:
            return
        if cells and len(cells) != width:
            yield BadRow(source.line, "cells-differ")
        elif cells:
            yield source.began, cells


class _Fed:
    """Feeds a CSV reader whole lines; keeps their numbers and what was wrong with some."""

    def __init__(self, lines: Iterator[tuple[int, str | BadRow]]) -> None:
        self._lines, self._bad = lines, list[BadRow]()
        self.line = self.began = 0  # of the line last read; where the row being read begins

    def __iter__(self) -> "_Fed":
        return self

    def __next__(self) -> str:
        for number, text in self._lines:
            self.line = number
            if isinstance(text, str):
                self.began = self.began or self.line
                return text
            self._bad.append(text)
        raise StopIteration

    def taken(self) -> list[BadRow]:
        bad, self._bad = self._bad, []
        return bad


def _lines(one: Input, meter: Meter | None) -> Iterator[tuple[int, str | BadRow]]:
    with one.open(meter) as file:
        for number, line in lines_of(file, LONGEST_ROW):
            if isinstance(line, LineTooLong):
                yield number, BadRow(number, "line-too-long")
                continue
            try:
                yield number, line.decode("utf-8-sig" if number == 1 else "utf-8") + "\n"
            except UnicodeDecodeError:
                yield number, BadRow(number, "not-utf-8")


def _delimiter(header: str, mapped: Mapped) -> str:
    return mapped.delimiter or max(DELIMITERS, key=header.count)


def _split(header: str, delimiter: str) -> list[str]:
    return next(csv.reader([header], delimiter=delimiter), [])


def _parquet(one: Input) -> Any:
    import pyarrow
    from pyarrow import parquet

    try:
        return parquet.ParquetFile(one.path)
    except (pyarrow.ArrowInvalid, OSError) as error:
        raise WrongCall(f"{one.name}: not a whole Parquet file") from error


def _flat_names(file: Any) -> Iterator[str]:
    import pyarrow

    def walk(field: Any, before: str) -> Iterator[str]:
        if pyarrow.types.is_struct(field.type):
            for inner in field.type:
                yield from walk(inner, f"{before}{field.name}.")
        else:
            yield before + field.name

    for field in file.schema_arrow:
        yield from walk(field, "")


def _parquet_rows(one: Input, meter: Meter | None) -> Iterator[Row | BadRow]:
    with _parquet(one) as file:
        number, rows, told = 0, max(file.metadata.num_rows, 1), 0
        for batch in _batches(file):
            for cells in zip(*(_plain(column) for column in _flattened(batch)), strict=True):
                number += 1
                yield number, list(cells)
            if meter:
                now = (one.size or 0) * number // rows
                meter.advance(now - told)
                told = now


def _batches(file: Any) -> Iterator[Any]:
    """Yield batches of rows, decoded in this thread: other processes are forked from this one."""
    import pyarrow

    try:
        yield from file.iter_batches(BATCH, use_threads=False)
    except (pyarrow.ArrowException, OSError) as error:
        raise Damaged from error


def _flattened(batch: Any) -> list[Any]:
    import pyarrow

    table = pyarrow.Table.from_batches([batch])
    while any(pyarrow.types.is_struct(field.type) for field in table.schema):
        table = table.flatten()
    return list(table.columns)


def _plain(column: Any) -> list[Any]:
    return [_cell(value) for value in column.to_pylist()]


def _cell(value: Any) -> Any:
    if value is None or isinstance(value, (str, int, float, bool, list)):
        return value
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    try:
        return float(value)
    except (TypeError, ValueError):
        return orjson.dumps(value, default=str).decode()
