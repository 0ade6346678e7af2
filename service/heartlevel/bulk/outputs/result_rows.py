"""Assessments as rows of result tables, each with where it stands in the inputs; no object a subject and no wording."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow

from heartlevel.answer.result_columns.coded import Coded, owners_in
from heartlevel.answer.result_tables import COLUMNS_OF
from heartlevel.assessment import Rules
from heartlevel.bulk.outputs.pieces import as_piece
from heartlevel.located import AssessedSubjects, nobody
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy, texts_as_arrow

RESULT_TABLES = tuple(COLUMNS_OF)
ROW, FIRST_ROW = "row", "first_row"
NUMBER = "number"


def write_tables(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write the rows of every table as a piece, in the order of their subjects; `names` are those of the inputs."""
    groups = groups or [nobody(rules)]
    return [as_piece(_in_order([_rows(group, table, names) for group in groups])) for table in RESULT_TABLES]


def _rows(group: AssessedSubjects, table: str, names: Sequence[str]) -> pyarrow.Table:
    return pyarrow.table(dict(_arrays(group, COLUMNS_OF[table](group.conclusions), names)))


def _arrays(
    group: AssessedSubjects, columns: Mapping[str, Any], names: Sequence[str]
) -> Iterator[tuple[str, pyarrow.Array]]:
    """Yield the columns, rows of readings as input and line, and the number of each row's subject in the part."""
    owners = owners_in(columns)
    for name, values in columns.items():
        if name in (ROW, FIRST_ROW):
            before, there = name.removesuffix(ROW), values >= 0
            row = group.starts[owners] + np.where(there, values, 0)
            yield f"{before}input", _array(Coded(np.where(there, group.inputs[row], -1), names))
            yield f"{before}line", as_arrow(group.lines[row], ~there)
        else:
            yield name, _array(values)
    yield NUMBER, as_arrow(group.numbers[owners])


def _array(values: Any) -> pyarrow.Array:
    if isinstance(values, Coded):
        # Each text once: what Parquet writes of a dictionary with repetitions is larger, and not always the same.
        code = values.codes.astype(np.int32)
        if None not in values.texts and len(set(values.texts)) == len(values.texts):
            return pyarrow.DictionaryArray.from_arrays(as_arrow(code, code < 0), texts_as_arrow(values.texts))
        codes = {text: code for code, text in enumerate(dict.fromkeys(text or "" for text in values.texts))}
        code_of_text = np.array([*(-1 if text is None else codes[text] for text in values.texts), -1], dtype=np.int32)
        code = code_of_text[code]  # −1, for nothing, is the last
        return pyarrow.DictionaryArray.from_arrays(as_arrow(code, code < 0), texts_as_arrow(codes))
    if values.dtype == object:
        return texts_as_arrow(values.tolist())
    return as_arrow(values)


def _in_order(groups: Sequence[pyarrow.Table]) -> pyarrow.RecordBatch:
    rows = pyarrow.concat_tables(groups).unify_dictionaries().combine_chunks()
    numbers = as_numpy(rows.column(NUMBER).combine_chunks())
    if (numbers[1:] < numbers[:-1]).any():
        rows = rows.take(as_arrow(np.argsort(numbers, kind="stable"))).combine_chunks()
    rows = rows.drop_columns([NUMBER])
    return next(iter(rows.to_batches()), None) or pyarrow.RecordBatch.from_arrays(
        [pyarrow.nulls(0, kind) for kind in rows.schema.types], schema=rows.schema
    )
