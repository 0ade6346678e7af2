"""Assessments as rows of result tables, each with the place of its subject and where it stands in the inputs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow

from heartlevel.answer.result_tables import Coded
from heartlevel.assessment import Assessment
from heartlevel.bulk.kinds import RESULT_TABLES
from heartlevel.columns import Ints
from heartlevel.frames import PARTS

ROW, FIRST_ROW = "row", "first_row"
PLACE = "place"


@dataclass(frozen=True, slots=True)
class Found:
    """Subjects assessed together: their places among the items, and where in the inputs each one's readings stand."""

    of: Assessment
    places: Ints  # by subject
    starts: Ints  # by subject, among the rows of all
    inputs: Ints  # by row
    lines: Ints  # by row

    def table(self, name: str, names: Sequence[str]) -> pyarrow.Table:
        """Return the rows of a table; `names` are those of the inputs."""
        return pyarrow.table(dict(self._columns(PARTS[name](self.of), names)))

    def _columns(self, part: dict[str, Any], names: Sequence[str]) -> Iterator[tuple[str, pyarrow.Array]]:
        subject = part["subject"]
        of_row = subject.places if isinstance(subject, Coded) else np.arange(len(subject))
        for name, values in part.items():
            if name in (ROW, FIRST_ROW):
                before, there = name.removesuffix(ROW), values >= 0
                row = self.starts[of_row] + np.where(there, values, 0)
                yield f"{before}input", _array(Coded(np.where(there, self.inputs[row], -1), names))
                yield f"{before}line", pyarrow.array(self.lines[row], mask=~there)
            else:
                yield name, _array(values)
        yield PLACE, pyarrow.array(self.places[of_row])


def _array(values: Any) -> pyarrow.Array:
    if isinstance(values, Coded):
        there = np.array([*(one is not None for one in values.texts), False])  # −1 is the last
        known = there[values.places]
        places = pyarrow.array(values.places.astype(np.int32), mask=None if known.all() else ~known)
        texts = pyarrow.array([one or "" for one in values.texts], pyarrow.string())
        return pyarrow.DictionaryArray.from_arrays(places, texts)
    if values.dtype == object:
        return pyarrow.array(values, pyarrow.string())
    return pyarrow.array(values, from_pandas=True)


def tables_of(several: Sequence[Found], names: Sequence[str]) -> list[pyarrow.RecordBatch]:
    """Return the rows of every table, in the order of their subjects' places."""
    return [_in_order([one.table(name, names) for one in several]) for name in RESULT_TABLES]


def _in_order(parts: Sequence[pyarrow.Table]) -> pyarrow.RecordBatch:
    whole = pyarrow.concat_tables(parts).unify_dictionaries().combine_chunks()
    places = whole.column(PLACE).to_numpy()
    if (places[1:] < places[:-1]).any():
        whole = whole.take(pyarrow.array(np.argsort(places, kind="stable"))).combine_chunks()
    rows = whole.drop_columns([PLACE])
    return next(iter(rows.to_batches()), None) or pyarrow.RecordBatch.from_pylist([], rows.schema)
