"""A folder of result tables, read in batches: the columns asked for alone, people by their number."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow
from pyarrow import parquet

from heartlevel.columns import Floats, Ints

ROWS_TOGETHER = 131_072
SUBJECT = "subject"
NEEDED: Mapping[str, tuple[str, ...]] = {
    "subjects": (
        SUBJECT, "urgent", "urgency", "category", "reason", "readings_received", "readings_assessed", "readings_lost",
        "category_readings", "category_not_documented", "category_doubtful", "rules_fingerprint",
    ),
    "findings": (
        SUBJECT, "rule", "scope", "urgent", "effect", "readings", "takes_category_away", "systolic_off_least",
        "systolic_off_most", "diastolic_off_least", "diastolic_off_most",
    ),
    "readings": (SUBJECT, "reliability", "systolic", "diastolic", "setting", "taken_by", "site", "device"),
    "device_checks": (SUBJECT, "device", "verdict", "systolic_bias", "diastolic_bias"),
}  # fmt: skip
OWN_PREFIXES = ("technique.", "device.")  # before the choices that a clinic's rules declare


class NoPracticeTables(Exception):
    """A folder does not hold the tables that are needed; the text says which, and how they are made."""


@dataclass(frozen=True, slots=True)
class Texts:
    """A column of texts in a batch: each row's number among the texts of the whole table, −1 for none."""

    codes: Ints
    names: Sequence[str]  # of the batches so far


class Folder:
    """The tables of a folder. Raises NoPracticeTables, with all that is wanting."""

    def __init__(self, path: Path) -> None:
        """Look at the tables' columns."""
        self._path = path
        self._columns = {table: self._names(table) for table in NEEDED}
        wanting = [
            f"{path / table}.parquet: {'no column ' + ', '.join(absent) if self._columns[table] else 'not there'}"
            for table, needed in NEEDED.items()
            if (absent := [name for name in needed if name not in self._columns[table]])
        ]
        if wanting:
            raise NoPracticeTables(
                "\n".join([*wanting, "`heartlevel assess FILES --to tables --output FOLDER` makes them"])
            )
        self._texts: dict[str, dict[str, int]] = {}

    def _names(self, table: str) -> list[str]:
        file = self._path / f"{table}.parquet"
        try:
            return list(parquet.read_schema(file).names) if file.exists() else []
        except pyarrow.ArrowInvalid as error:
            raise NoPracticeTables(f"{file}: no Parquet file ({error})") from error

    @property
    def own_choices(self) -> list[str]:
        """The columns of readings that a clinic's own rules declare."""
        return [name for name in self._columns["readings"] if name.startswith(OWN_PREFIXES)]

    @cached_property
    def people(self) -> dict[str, int]:
        """Each person's number. Who was sent in two requests is one person."""
        numbers: dict[str, int] = {}
        for batch in self._batches("subjects", (SUBJECT,)):
            for name in batch.column(0).dictionary.to_pylist():
                numbers.setdefault(name, len(numbers))
        return numbers

    def batches(self, table: str, more: Sequence[str] = ()) -> Iterator[dict[str, Any]]:
        """Yield the needed columns of a table: arrays, `Texts`, and as `subject` the number of each row's person."""
        for batch in self._batches(table, (*NEEDED[table], *more)):
            yield {name: self._array(name, column) for name, column in zip(batch.schema.names, batch.columns, strict=True)}

    def _batches(self, table: str, columns: Sequence[str]) -> Iterator[pyarrow.RecordBatch]:
        file = self._path / f"{table}.parquet"
        with parquet.ParquetFile(file) as opened:
            texts = [field.name for field in opened.schema_arrow if pyarrow.types.is_string(field.type)]
        with parquet.ParquetFile(file, read_dictionary=texts) as opened:
            # One thread: rows are added up in their order, so that the same tables give the same sums.
            yield from opened.iter_batches(ROWS_TOGETHER, columns=list(columns), use_threads=False)

    def _array(self, name: str, column: pyarrow.Array) -> Any:
        if not pyarrow.types.is_dictionary(column.type):
            return column.to_numpy(zero_copy_only=False)
        held = column.dictionary.to_pylist()
        known = self.people if name == SUBJECT else self._texts.setdefault(name, {})
        numbers = np.array([*(known.setdefault(text, len(known)) for text in held), -1], dtype=np.int64)
        codes = numbers[column.indices.fill_null(len(held)).to_numpy(zero_copy_only=False)]
        return codes if name == SUBJECT else Texts(codes, list(known))


def marked(column: Texts, name: str) -> Any:
    """Mark the rows that hold a text."""
    number = column.names.index(name) if name in column.names else -2  # −1 is no text
    return column.codes == number


def summed(keys: Sequence[Ints], values: Sequence[Floats]) -> tuple[Ints, Floats]:
    """Add up values (a row a figure) by key, batches in their order; returns the keys, sorted, and the sums."""
    if not keys:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 0))
    whole, positions = np.unique(np.concatenate(keys), return_inverse=True)
    rows = np.concatenate(values, axis=1)
    return whole, np.stack([np.bincount(positions, weights=row, minlength=len(whole)) for row in rows])
