"""Columns of result tables: arrays, or each row's number among a few texts."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from heartlevel.assessment import Assessment
from heartlevel.columns import Ints

Texts = npt.NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Coded:
    """A column of few texts: each row's number among them."""

    codes: Ints
    texts: Sequence[str | None]

    def written(self) -> Texts:
        """Return each row's text."""
        return text_column(self.texts)[self.codes]


Parts = dict[str, Any]  # equally long arrays, or coded texts, by column name


def text_column(values: Iterable[str | None]) -> Texts:
    """Return texts as an array of objects."""
    return np.array(list(values), dtype=np.object_)


def names_of_subjects(assessment: Assessment) -> list[str]:
    """Return what the subjects are called."""
    return [request.subject["id"] for request in assessment.batch.requests]


def owners_in(columns: Mapping[str, Any]) -> Ints:
    """Return the number of each row's subject."""
    subject = columns["subject"]
    return subject.codes if isinstance(subject, Coded) else np.arange(len(subject))


def joined_tables(parts: Sequence[Mapping[str, Any]]) -> Parts:
    """Join tables of the same columns, their texts written out."""
    return {name: np.concatenate([_written(part[name]) for part in parts]) for name in parts[0]}


def _written(column: Any) -> Any:
    return column.written() if isinstance(column, Coded) else column
