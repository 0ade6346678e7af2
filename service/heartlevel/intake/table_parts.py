"""A table cut into batches of whole subjects."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import isnan
from typing import Any, TypeAlias

import numpy as np

from heartlevel.columns import stretches
from heartlevel.intake.batch import Batch
from heartlevel.intake.request import Request
from heartlevel.intake.table_readings import Table
from heartlevel.vocabulary import EXPLANATIONS

Gaps: TypeAlias = Callable[[Sequence[Request]], Sequence[float]]


def batches(table: Table, options: Mapping[str, Any], gaps: Gaps, most: int) -> Iterator[Batch]:
    """Yield whole subjects, about `most` readings at a time; at least one batch, if of nobody.

    `options` are those of all subjects, `gaps` tells the minutes between sittings for each request.
    """
    starts = np.searchsorted(table.subject_of, np.arange(len(table.subjects) + 1))
    # Subjects without readings take room too.
    for subjects in list(stretches(starts[1:], most, most)) or [slice(0, 0)]:
        rows = slice(int(starts[subjects.start]), int(starts[subjects.stop]))
        yield _batch(table, options, gaps, subjects, rows)


def _batch(table: Table, options: Mapping[str, Any], gaps: Gaps, subjects: slice, rows: slice) -> Batch:
    of_subject = {name: column[subjects] for name, column in table.of_subject.items()}
    pregnant, since_birth = (of_subject["pregnant"] == 1).tolist(), of_subject["days_since_birth"].tolist()
    named = zip(table.subjects[subjects], table.unclear[subjects], pregnant, since_birth, strict=True)
    requests = [_request(*one, options) for one in named]
    return Batch(
        requests=requests,
        subjects=of_subject,
        readings={name: column[rows] for name, column in table.readings.items()},
        names=table.names[rows],
        indices=table.rows[rows].tolist(),
        subject_of=table.subject_of[rows] - subjects.start,
        instant=table.instant[rows],
        day=table.day[rows],
        hour=table.hour[rows],
        sitting_gap=np.array(gaps(requests), dtype=np.float64),
    )


def _request(name: str, unclear: frozenset[str], pregnant: bool, since_birth: float, options: Mapping[str, Any]) -> Request:
    after_birth = {} if isnan(since_birth) else {"days_since_birth": since_birth}
    return Request(
        subject={"id": name, "pregnant": pregnant, **after_birth},
        guideline=options["guideline"],
        protocol=options.get("protocol"),
        language=options.get("language") or "en",
        as_of=options["as_of"],
        strict=False,
        explain=options.get("explain") or EXPLANATIONS[0],
        unclear=unclear,
        population=options.get("population"),
    )
